// The Kalman recursion, and the vertical filter built on it, against tests/reference/numerics/kalman_steady.json:
// steady states solved with 50 digits (structure-preserving doubling, compared with scipy.linalg.solve_discrete_are),
// sequences from an independent Joseph-form filter checked against one joint Gaussian; chi-square quantiles from
// scipy.stats.
#include <catch2/catch.hpp>

#include <cmath>
#include <random>

#include "server/estimate/math/kalman.hpp"
#include "server/estimate/vertical/vertical_filter.hpp"
#include "shared/time.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using namespace turnstone::test;
using nlohmann::json;

namespace {

const json& cases() {
    return read_reference("numerics/kalman_steady.json").at("cases");
}

const json& case_named(const std::string& id) {
    return reference_case("numerics/kalman_steady.json", id);
}

template <int R, int C>
Eigen::Matrix<double, R, C> matrix(const json& rows) {
    Eigen::Matrix<double, R, C> m;
    for (int i = 0; i < R; ++i)
        for (int k = 0; k < C; ++k) m(i, k) = rows.at(static_cast<std::size_t>(i)).at(static_cast<std::size_t>(k));
    return m;
}

template <int N>
Eigen::Matrix<double, N, 1> vector(const json& values) {
    Eigen::Matrix<double, N, 1> v;
    for (int i = 0; i < N; ++i) v(i) = values.at(static_cast<std::size_t>(i));
    return v;
}

/// Iterates to convergence and compares; the file's tolerance for that way is 1e-6 relative.
template <int N, int M>
void check_steady(const json& c) {
    const json& in = c.at("inputs");
    const auto f = matrix<N, N>(in.at("F"));
    const auto q = matrix<N, N>(in.at("Q"));
    const auto h = matrix<M, N>(in.at("H"));
    const auto r = matrix<M, M>(in.at("R"));
    KalmanState<N> state;
    state.covariance = Eigen::Matrix<double, N, N>::Identity();
    Eigen::Matrix<double, N, N> prior;
    Innovation<M> innovation;
    for (int i = 0; i < 400000; ++i) {
        const Eigen::Matrix<double, N, N> before = state.covariance;
        kalman_predict<N>(state, f, q);
        prior = state.covariance;
        innovation = kalman_innovation<N, M>(state, Eigen::Matrix<double, M, 1>::Zero(), h, r);
        kalman_correct<N, M>(state, innovation, h, r);
        if ((state.covariance - before).norm() < 1e-13 * state.covariance.norm()) break;
    }
    const auto near = [&](const auto& found, const auto& expected) {
        return (found - expected).norm() <= 1e-6 * expected.norm();
    };
    const auto gain = matrix<N, M>(c.at("expected").at("K"));
    const Eigen::Matrix<double, N, M> found_gain = prior * h.transpose() * innovation.covariance.inverse();
    CHECK(near(prior, matrix<N, N>(c.at("expected").at("P_prior"))));
    CHECK(near(state.covariance, matrix<N, N>(c.at("expected").at("P_post"))));
    CHECK(near(found_gain, gain));
}

bool close(double found, double expected, double absolute, double relative = 0.0) {
    return std::fabs(found - expected) <= absolute + relative * std::fabs(expected);
}

} // namespace

TEST_CASE("the recursion converges to independently solved steady states") {
    int checked = 0;
    for (const json& c : cases()) {
        if (c.at("kind") != "steady_state") continue;
        INFO(c.at("id").get<std::string>());
        const std::size_t n = c.at("inputs").at("F").size();
        const std::size_t m = c.at("inputs").at("H").size();
        if (n == 2)
            check_steady<2, 1>(c);
        else if (m == 1)
            check_steady<3, 1>(c);
        else
            check_steady<3, 2>(c);
        ++checked;
    }
    CHECK(checked == 44);
}

TEST_CASE("constant-velocity sequence agrees step by step") {
    const json& c = case_named("sequence_cv_baro_250");
    const json& in = c.at("inputs");
    const auto f = matrix<2, 2>(in.at("F"));
    const auto q = matrix<2, 2>(in.at("Q"));
    const auto h = matrix<1, 2>(in.at("H"));
    const auto r = matrix<1, 1>(in.at("R"));
    KalmanState<2> state{vector<2>(in.at("x0")), matrix<2, 2>(in.at("P0"))};
    const json& rows = c.at("expected").at("rows");
    int wrong = 0;
    for (std::size_t k = 0; k < rows.size(); ++k) {
        kalman_predict<2>(state, f, q);
        const auto innovation =
            kalman_innovation<2, 1>(state, Eigen::Matrix<double, 1, 1>(in.at("z").at(k).get<double>()), h, r);
        kalman_correct<2, 1>(state, innovation, h, r);
        const std::array<double, 8> found{state.x(0),
                                          state.x(1),
                                          state.covariance(0, 0),
                                          state.covariance(0, 1),
                                          state.covariance(1, 1),
                                          innovation.value(0),
                                          innovation.covariance(0, 0),
                                          innovation.nis};
        for (std::size_t i = 0; i < found.size(); ++i) wrong += !close(found[i], rows[k][i], 1e-9, 1e-9);
    }
    CHECK(rows.size() == 250);
    CHECK(wrong == 0);
}

TEST_CASE("constant-acceleration sequence with height and accelerometer agrees step by step") {
    const json& c = case_named("sequence_ca_baro_accel_400");
    const json& in = c.at("inputs");
    const auto f = matrix<3, 3>(in.at("F"));
    const auto q = matrix<3, 3>(in.at("Q"));
    const auto h = matrix<2, 3>(in.at("H_joint"));
    const auto r = matrix<2, 2>(in.at("R_joint"));
    const Eigen::Matrix<double, 1, 3> h_accel = h.row(1);
    const Eigen::Matrix<double, 1, 1> r_accel(r(1, 1));
    KalmanState<3> state{vector<3>(in.at("x0")), matrix<3, 3>(in.at("P0"))};
    std::size_t row = 0;
    const json& rows = c.at("expected").at("rows");
    int wrong = 0;
    for (int k = 1; k <= 400; ++k) {
        kalman_predict<3>(state, f, q);
        const double accel = in.at("z_accel").at(static_cast<std::size_t>(k - 1));
        double nis = 0.0;
        if (k % 4 == 0) {
            const Eigen::Vector2d z(in.at("z_baro").at(static_cast<std::size_t>(k / 4 - 1)).get<double>(), accel);
            const auto innovation = kalman_innovation<3, 2>(state, z, h, r);
            kalman_correct<3, 2>(state, innovation, h, r);
            nis = innovation.nis;
        } else {
            const auto innovation =
                kalman_innovation<3, 1>(state, Eigen::Matrix<double, 1, 1>(accel), h_accel, r_accel);
            kalman_correct<3, 1>(state, innovation, h_accel, r_accel);
            nis = innovation.nis;
        }
        if (row >= rows.size() || rows[row][0] != k) continue;
        const auto& p = state.covariance;
        const std::array<double, 10> found{state.x(0), state.x(1), state.x(2), p(0, 0), p(0, 1),
                                           p(0, 2),    p(1, 1),    p(1, 2),    p(2, 2), nis};
        for (std::size_t i = 0; i < found.size(); ++i) wrong += !close(found[i], rows[row][i + 1], 1e-9, 1e-9);
        ++row;
    }
    CHECK(row == 200);
    CHECK(wrong == 0);
}

TEST_CASE("the vertical filter itself is the reference filter with accelerometer as input") {
    const json& c = case_named("sequence_accel_input_baro_gated_1200");
    const json& in = c.at("inputs");
    VerticalSettings settings;
    settings.accel_bias_mps2 = 0.5;
    settings.accel_bias_walk_mps2_rts = in.at("sigma_bias_rw");
    settings.gate_nis = in.at("gate_NIS_max");
    settings.rest_updates = false;
    VerticalFilter filter(settings);
    filter.set_motion(Motion::coast);
    const std::int64_t start_ns = 1'000'000'000'000;
    const std::int64_t step_ns = 10'000'000;
    filter.start(start_ns, 0.0, 0.5, 0.0, 0.1);

    const json& rows = c.at("expected").at("rows");
    std::size_t row = 0;
    int wrong = 0;
    int gated = 0;
    // The reference's input acts over the step that follows it; a sample here is of the step that ends at its time.
    for (std::size_t k = 0; k <= 1200; ++k) {
        const std::int64_t t_ns = start_ns + static_cast<std::int64_t>(k) * step_ns;
        if (k > 0 && k % 4 == 0) filter.height(t_ns, in.at("z_m").at(k / 4 - 1), in.at("sigma_h"));
        filter.accelerometer(t_ns, k > 0 ? in.at("accel_m_s2").at(k - 1).get<double>() : 0.0, in.at("sigma_acc"));
        for (const HeightResult& result : filter.take_results()) {
            const VerticalEstimate e = filter.estimate();
            const json& expected = rows.at(row++);
            wrong += !close(e.altitude_m, expected[1], 1e-9) || !close(e.vertical_speed_mps, expected[2], 1e-9) ||
                     !close(e.accel_bias_mps2, expected[3], 1e-9);
            wrong += !close(e.altitude_sigma_m * e.altitude_sigma_m, expected[4], 0.0, 1e-9) ||
                     !close(e.vertical_speed_sigma_mps * e.vertical_speed_sigma_mps, expected[7], 0.0, 1e-9) ||
                     !close(e.accel_bias_sigma_mps2 * e.accel_bias_sigma_mps2, expected[9], 0.0, 1e-9);
            wrong += !close(result.innovation_m, expected[10], 1e-9) || !close(result.nis, expected[12], 1e-9, 1e-9);
            wrong += (result.verdict == HeightVerdict::used) != (expected[13].get<double>() != 0.0);
            gated += result.verdict == HeightVerdict::gated;
        }
    }
    CHECK(row == 300);
    CHECK(gated == 6);
    CHECK(wrong == 0);
}

TEST_CASE("gates and health bounds are chi-square quantiles") {
    for (const json& c : cases()) {
        if (c.at("kind") == "chi2_quantiles") {
            for (const json& e : c.at("expected"))
                if (e.at("dof") == 1 && e.at("p") == 0.9999)
                    CHECK(VerticalSettings{}.gate_nis == Approx(e.at("quantile").get<double>()).epsilon(1e-9));
        } else if (c.at("kind") == "chi2_average_bounds") {
            for (const json& e : c.at("expected")) {
                if (e.at("dof") == 1 && e.at("N") == NisMonitor::kWindow && e.at("confidence") == 0.99) {
                    const NisMonitor::Bounds bounds = NisMonitor::bounds(NisMonitor::kWindow);
                    CHECK(bounds.lower == Approx(e.at("lower").get<double>()).epsilon(2e-3));
                    CHECK(bounds.upper == Approx(e.at("upper").get<double>()).epsilon(2e-3));
                }
            }
        }
    }
}

TEST_CASE("health counts measurements whose errors are alike for as much as they say") {
    struct Case {
        double nis, degrees;
        Health expected;
    };
    // 50 of a twenty-fifth are two: 0.5 and 99.5 % quantiles 0.005 and 5.3 per degree (Abramowitz and Stegun,
    // table 26.8).
    for (const Case& c :
         {Case{1, 1, Health::consistent}, Case{0.3, 1, Health::conservative}, Case{2, 1, Health::overconfident},
          Case{5, 1, Health::do_not_trust}, Case{0.3, 0.04, Health::consistent}, Case{5, 0.04, Health::consistent},
          Case{6, 0.04, Health::do_not_trust}}) {
        CAPTURE(c.nis, c.degrees);
        NisMonitor monitor;
        for (std::size_t k = 0; k < NisMonitor::kWindow; ++k) monitor.add(c.nis * c.degrees, c.degrees);
        CHECK(monitor.mean() == Approx(c.nis));
        CHECK(monitor.health() == c.expected);
    }
}

TEST_CASE("a filter whose sensor has longer tails than the normal distribution's is consistent in 98 of 100 windows") {
    // Three components judged beside one another are then in 94, if they are independent.
    // Student's t with seven degrees of freedom has the variance 7 / 5, and the fourth moment of a normal error's 5 /
    // 3: its square has twice the variance (closed form).
    std::mt19937 random(7);
    std::student_t_distribution<double> error(7);
    const auto consistent_of = [&](double tails, double size) {
        int consistent = 0;
        for (int window = 0; window < 2000; ++window) {
            NisMonitor monitor(tails);
            for (std::size_t k = 0; k < NisMonitor::kWindow; ++k)
                monitor.add(size * std::pow(error(random), 2) / (7.0 / 5.0));
            consistent += monitor.health() == Health::consistent;
        }
        return consistent / 2000.0;
    };
    CHECK(consistent_of(2, 1) > 0.98);
    CHECK(consistent_of(1, 1) < 0.97); // as if they were normal
    CHECK(consistent_of(2, 4) < 0.05); // twice as far off as told is seen all the same
}

TEST_CASE("of several components the gravest counts, and one that is too cautious only when all are") {
    using enum Health;
    CHECK(graver(consistent, conservative) == consistent);
    CHECK(graver(conservative, consistent) == consistent);
    CHECK(graver(conservative, conservative) == conservative);
    CHECK(graver(conservative, not_enough_data) == conservative);
    CHECK(graver(conservative, overconfident) == overconfident);
    CHECK(graver(consistent, do_not_trust) == do_not_trust);
}
