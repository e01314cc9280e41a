// The error-state filter against a filter written independently in numpy and its own truth
// (tests/reference/numerics/eskf.json: a simulated flight with stated noise; equations after J. Sola,
// arXiv:1711.02508), and its Jacobian against central differences.
#include <catch2/catch.hpp>

#include <Eigen/Eigenvalues>

#include <array>
#include <map>
#include <random>
#include <string>
#include <vector>

#include "server/estimate/navigation/eskf.hpp"
#include "tests/support/attitude.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using namespace turnstone::test;
using Eigen::Vector3d;

namespace {

Vector3d vector_at(const std::vector<double>& row, std::size_t first) {
    return {row[first], row[first + 1], row[first + 2]};
}
long millisecond(double t_s) {
    return std::lround(t_s * 1000);
}

/// Position, velocity, attitude and both biases.
constexpr int kCore = 15;

struct Stretch {
    std::string name;
    double from_s, to_s;
};

struct Sums {
    double position2 = 0, velocity2 = 0, attitude2 = 0, long_axis2 = 0;
    int count = 0;
};

} // namespace

TEST_CASE("the filter is as good and as honest as the reference filter on its three flights") {
    const auto& reference = read_reference("numerics/eskf.json");
    const auto truth_rows = reference_rows("numerics/eskf_truth.csv");
    std::map<long, const std::vector<double>*> truth;
    for (const auto& row : truth_rows) truth[millisecond(row[0])] = &row;
    const auto& noise = reference["meta"]["sensor_model"]["noise"];
    const EskfNoise filter_noise{noise["accel_noise_density_m_s2_rtHz"], noise["gyro_noise_density_rad_s_rtHz"],
                                 noise["accel_bias_rw_m_s2_per_rts"], noise["gyro_bias_rw_rad_s_per_rts"]};
    int runs = 0;
    for (const auto& run : reference["cases"]) {
        if (run["kind"] != "eskf_run") continue;
        ++runs;
        INFO(run["id"]);
        const auto& initial = run["inputs"]["initial_estimate"];
        EskfNominal nominal;
        nominal.position_enu_m = vector_of(initial["position_enu_m"]);
        nominal.velocity_enu_mps = vector_of(initial["velocity_enu_m_s"]);
        nominal.q_local_body = quaternion_of(initial["q_wxyz"]);
        // The reference filter has neither slow errors of fixes and heights nor scale errors.
        Eskf::ErrorVector sd = Eskf::ErrorVector::Zero();
        sd.head<kCore>() << Vector3d::Constant(0.5), Vector3d::Constant(0.02), Vector3d::Constant(0.02),
            Vector3d::Constant(noise["accel_bias_sd_m_s2"]), Vector3d::Constant(noise["gyro_bias_sd_rad_s"]);
        Eskf filter(filter_noise);
        filter.reset(nominal, sd.cwiseAbs2().asDiagonal());

        std::map<long, std::vector<double>> fixes, heights;
        for (auto& row : reference_rows("numerics/" + run["inputs"]["files"][1].get<std::string>()))
            fixes[millisecond(row[0])] = row;
        for (auto& row : reference_rows("numerics/" + run["inputs"]["files"][2].get<std::string>()))
            heights[millisecond(row[0])] = row;
        const Vector3d accel_bias_start = vector_of(run["truth_bias"]["accel_at_start_m_s2"]);
        const Vector3d accel_bias_end = vector_of(run["truth_bias"]["accel_at_end_m_s2"]);
        const Vector3d gyro_bias_start = vector_of(run["truth_bias"]["gyro_at_start_rad_s"]);
        const Vector3d gyro_bias_end = vector_of(run["truth_bias"]["gyro_at_end_rad_s"]);

        Sums all;
        double nees_sum = 0;
        int nees_count = 0;
        const double gh = noise["gnss_pos_sd_h_m"], gv = noise["gnss_pos_sd_v_m"], vh = noise["gnss_vel_sd_h_m_s"],
                     vv = noise["gnss_vel_sd_v_m_s"], bh = noise["baro_sd_m"];
        Eigen::Matrix<double, 6, 1> fix_variance;
        fix_variance << gh * gh, gh * gh, gv * gv, vh * vh, vh * vh, vv * vv;
        for (const auto& row : reference_rows("numerics/" + run["inputs"]["files"][0].get<std::string>())) {
            const long t_ms = millisecond(row[0]);
            filter.predict(vector_at(row, 1), vector_at(row, 4), 0.01);
            if (const auto height = heights.find(t_ms); height != heights.end()) {
                Eskf::Observation<1> h = Eskf::Observation<1>::Zero();
                h(0, Eskf::kPosition + 2) = 1;
                filter.correct<1>(Eigen::Matrix<double, 1, 1>(height->second[1] - filter.nominal().position_enu_m.z()),
                                  h, Eigen::Matrix<double, 1, 1>(bh * bh));
            }
            if (const auto fix = fixes.find(t_ms); fix != fixes.end()) {
                Eskf::Observation<6> h = Eskf::Observation<6>::Zero();
                h.leftCols<6>().setIdentity();
                Eigen::Matrix<double, 6, 1> innovation;
                innovation << vector_at(fix->second, 1) - filter.nominal().position_enu_m,
                    vector_at(fix->second, 4) - filter.nominal().velocity_enu_mps;
                filter.correct<6>(innovation, h, Eigen::Matrix<double, 6, 6>(fix_variance.asDiagonal()));
            }
            const auto at = truth.find(t_ms);
            if (at == truth.end() || row[0] < 1.0) continue;
            EskfNominal exact;
            exact.position_enu_m = vector_at(*at->second, 1);
            exact.velocity_enu_mps = vector_at(*at->second, 4);
            exact.q_local_body = {(*at->second)[7], (*at->second)[8], (*at->second)[9], (*at->second)[10]};
            // The biases walk by 1e-4 of their size over the flight; a line between start and end stands for the walk.
            const double part = row[0] / 60;
            exact.accel_bias_mps2 = accel_bias_start + part * (accel_bias_end - accel_bias_start);
            exact.gyro_bias_radps = gyro_bias_start + part * (gyro_bias_end - gyro_bias_start);
            const Eskf::ErrorVector error = Eskf::error_of(filter.nominal(), exact);
            all.position2 += error.segment<3>(0).squaredNorm();
            all.velocity2 += error.segment<3>(3).squaredNorm();
            all.attitude2 += error.segment<3>(6).squaredNorm();
            all.long_axis2 += error.segment<2>(7).squaredNorm();
            ++all.count;
            const Eigen::Matrix<double, kCore, kCore> core = filter.covariance().topLeftCorner<kCore, kCore>();
            nees_sum += error.head<kCore>().dot(core.ldlt().solve(error.head<kCore>()));
            ++nees_count;
        }
        // RMSE over 1-60 s, as the file says.
        const auto& reference_rmse = run["reference_filter"]["rmse"]["whole_1_to_60"];
        const auto rms = [&](double sum) { return std::sqrt(sum / all.count); };
        const double degree = 180 / 3.14159265358979323846;
        CAPTURE(rms(all.position2), rms(all.velocity2), rms(all.attitude2) * degree, nees_sum / nees_count / 15);
        // "As good" with room for another discretisation: two per cent, where the file itself allows ten.
        CHECK(rms(all.position2) <= 1.02 * reference_rmse["position_3d_m"].get<double>());
        CHECK(rms(all.velocity2) <= 1.02 * reference_rmse["velocity_3d_m_s"].get<double>());
        CHECK(rms(all.attitude2) * degree <= 1.02 * reference_rmse["attitude_3d_deg"].get<double>());
        CHECK(rms(all.long_axis2) * degree <= 1.05 * reference_rmse["attitude_long_axis_deg"].get<double>());
        const double nees = nees_sum / nees_count;
        CHECK(nees > 9.5); // 1st and 99th percentile of a hundred reference runs: the file's "acceptance"
        CHECK(nees < 26);
        REQUIRE(all.count > 1400);
    }
    REQUIRE(runs == 3);
}

TEST_CASE("the transition matrix is the derivative of the nominal propagation") {
    const double pi = 3.14159265358979323846;
    std::mt19937 random(3);
    std::normal_distribution<double> normal(0, 1);
    const auto draw = [&](double scale) -> Vector3d {
        return Vector3d(normal(random), normal(random), normal(random)) * scale;
    };
    std::vector<Eigen::Quaterniond> attitudes = {Eigen::Quaterniond::Identity(),
                                                 Eigen::Quaterniond(-1, 0, 0, 0),
                                                 quaternion_from_rotation_vector({1e-8, 0, 0}),
                                                 quaternion_from_rotation_vector({0, pi, 0}),
                                                 quaternion_from_rotation_vector({0, -pi, 0}),
                                                 quaternion_from_rotation_vector({0, 0, pi - 1e-7})};
    for (int k = 0; k < 10; ++k) {
        const Eigen::Quaterniond q = quaternion_from_rotation_vector(draw(1.5));
        attitudes.push_back(q);
        attitudes.push_back(Eigen::Quaterniond(-q.coeffs()));
    }
    const std::array<double, 3> steps_s = {0.001, 0.005, 0.02};
    int compared = 0;
    for (const auto& attitude : attitudes) {
        for (const double dt_s : steps_s) {
            EskfNominal from;
            from.position_enu_m = draw(100);
            from.velocity_enu_mps = draw(50);
            from.q_local_body = attitude;
            from.accel_bias_mps2 = draw(0.1);
            from.gyro_bias_radps = draw(0.01);
            const Vector3d accel = draw(50);
            const Vector3d rate = draw(3);
            const auto analytic = Eskf::transition(from, accel, rate, dt_s);
            const auto base = Eskf::propagate(from, accel, rate, dt_s, kGravityStandard_mps2);
            const double h = 1e-5;
            for (int column = 0; column < Eskf::kEstimated; ++column) {
                Eskf::ErrorVector nudge = Eskf::ErrorVector::Zero();
                nudge(column) = h;
                const auto up = Eskf::propagate(Eskf::plus(from, nudge), accel, rate, dt_s, kGravityStandard_mps2);
                const auto down = Eskf::propagate(Eskf::plus(from, -nudge), accel, rate, dt_s, kGravityStandard_mps2);
                const Eskf::ErrorVector numeric = (Eskf::error_of(base, up) - Eskf::error_of(base, down)) / (2 * h);
                for (int row = 0; row < Eskf::kSize; ++row) {
                    INFO("row " << row << " column " << column << " dt " << dt_s);
                    // Central difference: h^2 truncation times the third derivative, and 1e-16 * 100 m / h of rounding.
                    CHECK(analytic(row, column) == Approx(numeric(row)).margin(2e-7).epsilon(1e-5));
                    ++compared;
                }
            }
            // A scale error or misalignment is a change of the reading in proportion to the long axis'.
            for (int column = Eskf::kEstimated; column < Eskf::kSize; ++column) {
                const bool of_accel = column < Eskf::kGyroScale;
                const int axis = column - (of_accel ? Eskf::kAccelScale : Eskf::kGyroScale);
                const Vector3d off_accel = of_accel
                                               ? Vector3d(h * (accel - from.accel_bias_mps2).x() * Vector3d::Unit(axis))
                                               : Vector3d(0, 0, 0);
                const Vector3d off_rate = of_accel
                                              ? Vector3d(0, 0, 0)
                                              : Vector3d(h * (rate - from.gyro_bias_radps).x() * Vector3d::Unit(axis));
                const auto up = Eskf::propagate(from, accel - off_accel, rate - off_rate, dt_s, kGravityStandard_mps2);
                const auto down =
                    Eskf::propagate(from, accel + off_accel, rate + off_rate, dt_s, kGravityStandard_mps2);
                const Eskf::ErrorVector numeric = (Eskf::error_of(base, up) - Eskf::error_of(base, down)) / (2 * h);
                for (int row = 0; row < Eskf::kEstimated; ++row) {
                    INFO("row " << row << " column " << column << " dt " << dt_s);
                    CHECK(analytic(row, column) == Approx(numeric(row)).margin(2e-7).epsilon(1e-5));
                    ++compared;
                }
            }
        }
    }
    REQUIRE(compared == static_cast<int>(attitudes.size() * steps_s.size()) *
                            (Eskf::kEstimated * Eskf::kSize + (Eskf::kSize - Eskf::kEstimated) * Eskf::kEstimated));
}

TEST_CASE("the covariance stays symmetric and positive through a long dead reckoning and sharp corrections") {
    Eskf filter({0.02, 0.001, 0.001, 1e-5});
    filter.reset({}, Eskf::Covariance::Identity());
    std::mt19937 random(11);
    std::normal_distribution<double> normal(0, 1);
    for (int k = 0; k < 20000; ++k) {
        filter.predict({9.8 + normal(random), normal(random), normal(random)},
                       {2 + normal(random), normal(random), normal(random)}, 0.005, k % 97 == 0 ? 100 : 1);
        if (k % 400 == 0) {
            Eskf::Observation<3> h = Eskf::Observation<3>::Zero();
            h.leftCols<3>().setIdentity();
            filter.correct<3>(-filter.nominal().position_enu_m, h, Eigen::Matrix3d::Identity() * 1e-6);
        }
    }
    const auto& p = filter.covariance();
    CHECK((p - p.transpose()).norm() == 0);
    CHECK(Eigen::LLT<Eskf::Covariance>(p).info() == Eigen::Success);
}

// Position that gathers a Gauss-Markov velocity of time constant T for a time t has the variance
// 2 sigma^2 T (t - T (1 - exp(-t / T))): G. E. Uhlenbeck, L. S. Ornstein, "On the theory of the Brownian motion", Phys.
// Rev. 36 (1930), from memory; its covariance with the velocity is sigma^2 T (1 - exp(-t / T)).
TEST_CASE("what drifts with air that is off for long strays as far as it says") {
    constexpr double kAlike_s = 100, kEvery_s = 0.1, kSigma_mps = 3;
    const Eigen::Vector2d air_en_mps(4, -2);
    Eskf filter({0.05, 0.001, 0.001, 1e-5});
    Eskf::Covariance begin = Eskf::Covariance::Identity() * 1e-4;
    begin.diagonal().head<6>().setZero();
    begin.diagonal().segment<2>(Eskf::kVelocity).setConstant(50);
    filter.reset({}, begin);
    for (int step = 0; step <= 1500; ++step) {
        const double t_s = step * kEvery_s;
        filter.drift(air_en_mps, kSigma_mps, kSigma_mps * kSigma_mps * kAlike_s * (1 - std::exp(-t_s / kAlike_s)));
        const double sigma_m =
            kSigma_mps * std::sqrt(2 * kAlike_s * (t_s - kAlike_s * (1 - std::exp(-t_s / kAlike_s))));
        INFO("after " << t_s << " s: " << filter.sigma(Eskf::kPosition) << " m for " << sigma_m);
        REQUIRE(filter.sigma(Eskf::kPosition) == Approx(sigma_m).epsilon(0.02).margin(0.1));
        REQUIRE(filter.sigma(Eskf::kPosition + 1) == Approx(sigma_m).epsilon(0.02).margin(0.1));
        REQUIRE(filter.sigma(Eskf::kVelocity) == Approx(kSigma_mps));
        REQUIRE((filter.nominal().position_enu_m.head<2>() - air_en_mps * t_s).norm() < 1 + 0.1 * t_s);
        const Eigen::SelfAdjointEigenSolver<Eskf::Covariance> axes(filter.covariance(), Eigen::EigenvaluesOnly);
        REQUIRE(axes.eigenvalues()(0) > -1e-9 * axes.eigenvalues()(Eskf::kSize - 1));
        for (int k = 0; k < 20; ++k) filter.predict({0.5, 0, kGravityStandard_mps2}, Vector3d::Zero(), kEvery_s / 20);
        filter.settle();
    }
}

TEST_CASE("what is considered keeps its variance and widens the rest as the Schmidt filter of the reference does") {
    // tests/reference/numerics2/consider.json: one and two updates as exact fractions.
    int checked = 0;
    for (const auto& c : read_reference("numerics2/consider.json")["cases"]) {
        const std::string id = c["id"];
        if (id != "scalar_exact" && id != "two_updates_exact") continue;
        INFO(id);
        const auto& in = c["inputs"];
        const auto& expected = c["expected"];
        Eskf filter({0, 0, 0, 0});
        Eskf::Covariance p = Eskf::Covariance::Zero();
        p(Eskf::kPosition, Eskf::kPosition) = in["P_xx"];
        p(Eskf::kAccelScale, Eskf::kAccelScale) = in["P_bb"];
        filter.reset({}, p);
        const std::vector<double> h_b =
            in["H_b"].is_array() ? in["H_b"].get<std::vector<double>>() : std::vector<double>{in["H_b"].get<double>()};
        for (std::size_t k = 0; k < h_b.size(); ++k) {
            Eskf::Observation<1> h = Eskf::Observation<1>::Zero();
            h(0, Eskf::kPosition) = in["H_x"];
            h(0, Eskf::kAccelScale) = h_b[k];
            using Scalar = Eigen::Matrix<double, 1, 1>;
            const double z = in.contains("z") ? in["z"].get<double>() : 0.0;
            filter.correct<1>(Scalar(z), h, Scalar(in["R"].get<double>()));
            const auto& p_out = filter.covariance();
            const bool one = !in["H_b"].is_array();
            const double p_xx = one ? expected["schmidt"]["P_xx"] : expected["schmidt"][k][2];
            const double p_xb = one ? expected["schmidt"]["P_xb"] : expected["schmidt"][k][3];
            CHECK(p_out(Eskf::kPosition, Eskf::kPosition) == Approx(p_xx).epsilon(1e-12));
            CHECK(p_out(Eskf::kPosition, Eskf::kAccelScale) == Approx(p_xb).epsilon(1e-12));
            CHECK(p_out(Eskf::kAccelScale, Eskf::kAccelScale) == Approx(in["P_bb"].get<double>()).epsilon(1e-12));
            if (one)
                CHECK(filter.nominal().position_enu_m.x() ==
                      Approx(expected["schmidt"]["x"].get<double>()).epsilon(1e-12));
            ++checked;
        }
    }
    CHECK(checked == 3);
}

TEST_CASE("a boost with a scale error or a misalignment ends inside what the filter considered") {
    // tests/reference/numerics2/imu_errors.json: closed forms of half-sine boosts.
    int checked = 0;
    for (const auto& c : read_reference("numerics2/imu_errors.json")["cases"]) {
        if (c["kind"] != "boost") continue;
        INFO(c["id"]);
        const double peak = c["inputs"]["peak_acceleration_m_s2"], burn_s = c["inputs"]["burn_time_s"],
                     g = c["inputs"]["gravity"], scale = c["inputs"]["scale_error"];
        Eskf filter({0, 0, 0, 0}, g);
        EskfNominal start;
        start.q_local_body = shortest_rotation(Vector3d::UnitX(), Vector3d::UnitZ());
        Eskf::Covariance p = Eskf::Covariance::Zero();
        p(Eskf::kAccelScale, Eskf::kAccelScale) = scale * scale;
        filter.reset(start, p);
        const int steps = static_cast<int>(std::lround(burn_s * 1000));
        for (int k = 0; k < steps; ++k) {
            const double t_s = (k + 0.5) * 0.001;
            const double force = peak * std::sin(3.14159265358979323846 * t_s / burn_s) + g;
            filter.predict({force, 0, 0}, Vector3d::Zero(), 0.001);
        }
        const auto& raw = c["expected"]["scale_1pct_raw"];
        // An error of one sigma is what the sigma says.
        CHECK(filter.sigma(Eskf::kVelocity + 2) ==
              Approx(raw["velocity_error_at_burnout"].get<double>()).epsilon(1e-3));
        CHECK(filter.sigma(Eskf::kPosition + 2) == Approx(raw["height_error_at_burnout"].get<double>()).epsilon(1e-3));
        ++checked;
    }
    CHECK(checked == 3);
}
