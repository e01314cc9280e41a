// Against tests/reference/numerics2/translation_filter.json: sequences of an independent Joseph-form filter, their last
// state compared with one joint Gaussian of all measurements; and gauss_markov.json (closed forms).
#include <catch2/catch.hpp>

#include "server/estimate/translation/translation_state.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone::estimate;
using namespace turnstone::test;
using Eigen::Vector3d;
using nlohmann::json;

namespace {

const TranslationErrors kNoErrors{80, Vector3d::Zero(), 0, 0, 20};

double number(const json& value) {
    return value.is_null() ? std::numeric_limits<double>::quiet_NaN() : value.get<double>();
}

Vector3d vector3(const json& values) {
    return {values[0].get<double>(), values[1].get<double>(), values[2].get<double>()};
}

template <int N>
Eigen::Matrix<double, N, N> square(const json& rows) {
    Eigen::Matrix<double, N, N> m;
    for (int i = 0; i < N; ++i)
        for (int k = 0; k < N; ++k) m(i, k) = rows[static_cast<std::size_t>(i)][static_cast<std::size_t>(k)];
    return m;
}

void check_sequence(const std::string& id, std::size_t rows_expected) {
    const json& c = reference_case("numerics2/translation_filter.json", id);
    const json& in = c.at("inputs");
    TranslationState state(kNoErrors);
    for (int i = 0; i < 9; ++i) state.kalman().x(i) = in.at("x0")[static_cast<std::size_t>(i)];
    state.kalman().covariance.topLeftCorner<9, 9>() = square<9>(in.at("P0"));
    const Manoeuvre manoeuvre{Vector3d::Zero(), vector3(in.at("sigma_m_m_s2")), vector3(in.at("tau_s"))};
    const auto fix_noise = square<6>(in.at("R_gnss_6x6"));
    const double height_sigma_m = number(in.at("sigma_baro_m"));
    const json& measurements = in.at("measurements");
    const json& rows = c.at("expected").at("rows");
    std::size_t next = 0, row = 0;
    for (int step = 1; step <= in.at("steps").get<int>(); ++step) {
        state.predict(in.at("dt_s"), manoeuvre, kNoErrors);
        double fix_nis = std::numeric_limits<double>::quiet_NaN(), height_nis = fix_nis;
        if (next < measurements.size() && measurements[next][0] == step) {
            const json& m = measurements[next++];
            if (!m[1].is_null()) {
                Eigen::Matrix<double, 6, 1> fix;
                for (int i = 0; i < 6; ++i) fix(i) = m[static_cast<std::size_t>(i) + 1];
                const auto seen = state.of_fix(fix, fix_noise);
                fix_nis = state.nis(seen);
                state.correct(seen);
            }
            if (!m[7].is_null()) {
                const auto seen = state.of_height(m[7], height_sigma_m);
                height_nis = state.nis(seen);
                state.correct(seen);
            }
        }
        if (row >= rows.size() || rows[row][0] != step) continue;
        const json& expected = rows[row++];
        INFO(id << ", step " << step);
        for (int i = 0; i < 9; ++i) {
            const auto k = static_cast<std::size_t>(i);
            CHECK(state.kalman().x(i) == Approx(expected[k + 1].get<double>()).margin(1e-7).epsilon(1e-10));
            CHECK(state.sigma(i) == Approx(expected[k + 10].get<double>()).epsilon(1e-8));
        }
        if (!expected[19].is_null()) CHECK(fix_nis == Approx(expected[19].get<double>()).epsilon(1e-7));
        if (!expected[20].is_null()) CHECK(height_nis == Approx(expected[20].get<double>()).epsilon(1e-7));
    }
    CHECK(row == rows_expected);
}

} // namespace

TEST_CASE("Fixes and heights with gaps of up to 10 s give the state and sigmas of an independent filter") {
    check_sequence("gnss_baro_gaps_400", 100);
}

TEST_CASE("Fixes whose components are correlated give the state and sigmas of an independent filter") {
    check_sequence("gnss_correlated_noise_300", 75);
}

TEST_CASE("Standing still under wandering fixes is known no better than the best linear mean of them") {
    const json& c = reference_case("numerics2/gauss_markov.json", "mean_of_correlated_samples");
    const json& in = c.at("inputs");
    const Manoeuvre still{Vector3d::Zero(), Vector3d::Zero(), Vector3d::Ones()};
    std::size_t checked = 0;
    for (std::size_t k = 0; k < in.at("rows").size(); ++k) {
        const double tau_s = in.at("rows")[k][0];
        const int count = in.at("rows")[k][1];
        const TranslationErrors errors{tau_s, Vector3d::Constant(in.at("sigma")), 0, 0, 20};
        TranslationState state(errors);
        for (int axis = 0; axis < 3; ++axis) state.place(axis, 0, 0, 1e3, 0);
        for (int i = 0; i < 3; ++i) state.kalman().covariance(6 + i, 6 + i) = 0;
        const double none = std::numeric_limits<double>::quiet_NaN();
        const Eigen::Matrix<double, 6, 1> fix{{0, 0, 0, none, none, none}};
        for (int n = 0; n < count; ++n) {
            if (n > 0) state.predict(in.at("dt_s"), still, errors);
            state.correct(state.of_fix(fix, Eigen::Matrix<double, 6, 6>::Zero()));
        }
        const double variance = c.at("expected").at("rows")[k][2];
        INFO(count << " fixes, correlated for " << tau_s << " s");
        CHECK(state.sigma(0) * state.sigma(0) == Approx(variance).epsilon(1e-4));
        ++checked;
    }
    CHECK(checked == 18);
}

TEST_CASE("Motion is as late as fixes are: on time, and to a height, it is what it does over the delay") {
    TranslationState state((TranslationErrors()));
    auto& x = state.kalman().x;
    x << 10, 20, 300, 5, -3, 80, 1, 2, 40, 0.5, -0.5, 2, 0.13, 4, 1;
    // 0.13 s later, under a steady acceleration.
    const Vector3d position_m(10 + 0.13 * 5 + 0.5 * 1 * 0.13 * 0.13, 20 - 0.13 * 3 + 0.5 * 2 * 0.13 * 0.13,
                              300 + 0.13 * 80 + 0.5 * 40 * 0.13 * 0.13);
    const auto now = state.on_time();
    CHECK((now.x.head<3>() - position_m).norm() == Approx(0).margin(1e-12));
    CHECK(now.x(5) == Approx(80 + 0.13 * 40));
    CHECK(-state.of_height(0, 1).innovation(0) == Approx(position_m.z() + 1));

    using Matrix = TranslationState::Matrix;
    state.kalman().covariance = Matrix::Identity();
    state.kalman().covariance(2, 12) = state.kalman().covariance(12, 2) = 0.3;
    const auto seen = state.of_height(0, 1);
    Matrix rows;
    for (int k = 0; k < TranslationState::kSize; ++k) {
        TranslationState more = state, less = state;
        constexpr double kStep = 1e-5;
        more.kalman().x(k) += kStep;
        less.kalman().x(k) -= kStep;
        rows.col(k) = (more.on_time().x - less.on_time().x) / (2 * kStep);
        const double slope = less.of_height(0, 1).innovation(0) - more.of_height(0, 1).innovation(0);
        CHECK(seen.rows(0, k) == Approx(slope / (2 * kStep)).margin(1e-6));
    }
    const Matrix expected = rows * state.covariance() * rows.transpose();
    CHECK((state.on_time().covariance - expected).norm() == Approx(0).margin(1e-5));
}
