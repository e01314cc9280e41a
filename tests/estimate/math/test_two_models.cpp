// Two models side by side against tests/reference/numerics2/imm.json: one cycle each with every intermediate result,
// by fractions and by 40-digit products, and 600 steps of rest, liftoff, a spike, a gap and the ground.
#include <numbers>

#include <catch2/catch.hpp>

#include "server/estimate/math/two_models.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using namespace turnstone::test;
using nlohmann::json;

namespace {

template <int R, int C>
Eigen::Matrix<double, R, C> grid(const json& rows) {
    Eigen::Matrix<double, R, C> m;
    for (int i = 0; i < R; ++i)
        for (int k = 0; k < C; ++k) m(i, k) = rows.at(static_cast<std::size_t>(i)).at(static_cast<std::size_t>(k));
    return m;
}

template <int N>
Eigen::Matrix<double, N, 1> column(const json& values) {
    Eigen::Matrix<double, N, 1> v;
    for (int i = 0; i < N; ++i) v(i) = values.at(static_cast<std::size_t>(i));
    return v;
}

/// Models, heights as the only measurement.
template <int N>
struct Cycle {
    explicit Cycle(const json& in) {
        for (std::size_t i = 0; i < 2; ++i) {
            f[i] = grid<N, N>(in.at("F").at(i));
            q[i] = grid<N, N>(in.at("Q").at(i));
            for (std::size_t j = 0; j < 2; ++j)
                change[i][j] = in.at("transition_p_ij_row_i_from_column_j_to").at(i).at(j);
        }
        h = grid<1, N>(in.at("H"));
        r = grid<1, 1>(in.at("R"));
    }
    /// Without a height both are equally likely. Returns the logarithms of the likelihoods.
    std::array<double, 2> run(TwoModels<N>& pair, const json& height) {
        mix<N>(pair, change);
        mixed = pair;
        std::array<double, 2> log_likelihood{0.0, 0.0};
        for (std::size_t j = 0; j < 2; ++j) {
            kalman_predict<N>(pair.model[j], f[j], q[j]);
            if (height.is_null()) continue;
            const auto innovation =
                kalman_innovation<N, 1>(pair.model[j], Eigen::Matrix<double, 1, 1>(height.get<double>()), h, r);
            log_likelihood[j] =
                -0.5 * (innovation.nis + std::log(2.0 * std::numbers::pi * innovation.covariance(0, 0)));
            kalman_correct<N, 1>(pair.model[j], innovation, h, r);
        }
        weigh(pair.probability, log_likelihood);
        return log_likelihood;
    }
    std::array<Eigen::Matrix<double, N, N>, 2> f, q;
    Eigen::Matrix<double, 1, N> h;
    Eigen::Matrix<double, 1, 1> r;
    ModelChange change{};
    TwoModels<N> mixed;
};

template <class A, class B>
bool alike(const A& found, const B& expected, double tolerance) {
    return (found - expected).norm() <= tolerance * std::max(1.0, expected.norm());
}

template <int N>
void check_cycle(const json& c) {
    const json& in = c.at("inputs");
    const json& out = c.at("expected");
    Cycle<N> cycle(in);
    TwoModels<N> pair;
    for (std::size_t j = 0; j < 2; ++j) {
        pair.model[j] = {column<N>(in.at("x").at(j)), grid<N, N>(in.at("P").at(j))};
        pair.probability[j] = in.at("mu").at(j);
    }
    const auto log_likelihood = cycle.run(pair, in.at("z"));
    for (std::size_t j = 0; j < 2; ++j) {
        CHECK(std::fabs(cycle.mixed.probability[j] - out.at("c").at(j).get<double>()) < 1e-10);
        CHECK(alike(cycle.mixed.model[j].x, column<N>(out.at("x_mixed").at(j)), 1e-8));
        CHECK(alike(cycle.mixed.model[j].covariance, grid<N, N>(out.at("P_mixed").at(j)), 1e-8));
        CHECK(log_likelihood[j] == Approx(out.at("log_likelihood").at(j).get<double>()).epsilon(1e-8));
        CHECK(alike(pair.model[j].x, column<N>(out.at("x_models").at(j)), 1e-8));
        CHECK(alike(pair.model[j].covariance, grid<N, N>(out.at("P_models").at(j)), 1e-8));
        CHECK(std::fabs(pair.probability[j] - out.at("mu").at(j).get<double>()) < 1e-10);
    }
    const KalmanState<N> stated = combined<N>(pair);
    CHECK(alike(stated.x, column<N>(out.at("x")), 1e-8));
    CHECK(alike(stated.covariance, grid<N, N>(out.at("P")), 1e-8));
}

} // namespace

TEST_CASE("one cycle of two models agrees in every intermediate result") {
    int checked = 0;
    for (const json& c : read_reference("numerics2/imm.json").at("cases")) {
        if (c.at("kind") != "one_cycle") continue;
        INFO(c.at("id").get<std::string>());
        if (c.at("inputs").at("x").at(0).size() == 1)
            check_cycle<1>(c);
        else
            check_cycle<2>(c);
        ++checked;
    }
    CHECK(checked == 4);
}

TEST_CASE("rest and flight side by side agree over 600 steps") {
    const json& c = reference_case("numerics2/imm.json", "sequence_600");
    const json& in = c.at("inputs");
    Cycle<2> cycle(in);
    TwoModels<2> pair;
    for (std::size_t j = 0; j < 2; ++j) {
        pair.model[j] = {column<2>(in.at("x0").at(j)), grid<2, 2>(in.at("P0").at(j))};
        pair.probability[j] = in.at("mu0").at(j);
    }
    const json& rows = c.at("expected").at("rows");
    int wrong = 0;
    std::size_t row = 0;
    for (std::size_t k = 0; k < in.at("z").size(); ++k) {
        cycle.run(pair, in.at("z").at(k));
        if (row == rows.size() || rows[row][0] != k + 1) continue;
        const KalmanState<2> stated = combined<2>(pair);
        const std::array<double, 10> found{pair.probability[0],
                                           pair.probability[1],
                                           stated.x(0),
                                           stated.x(1),
                                           stated.covariance(0, 0),
                                           stated.covariance(0, 1),
                                           stated.covariance(1, 1),
                                           pair.model[0].x(0),
                                           pair.model[1].x(0),
                                           pair.model[1].x(1)};
        for (std::size_t i = 0; i < found.size(); ++i) {
            const double expected = rows[row][i + 1];
            wrong += std::fabs(found[i] - expected) > 1e-7 * std::max(1.0, std::fabs(expected));
        }
        ++row;
    }
    CHECK(in.at("z").size() == 600);
    CHECK(row == rows.size());
    CHECK(wrong == 0);
}
