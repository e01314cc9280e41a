// Navigation with sensors and links as they are: low rates, offsets, a wrong datum, spins beyond the gyro's range,
// fixes that show motion, attitude lost and found again. Streams are computed from the stated motion, not simulated.
#include <catch2/catch.hpp>

#include <cmath>
#include <optional>
#include <random>

#include "server/estimate/navigation/navigation.hpp"
#include "shared/time.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using Eigen::Vector3d;

namespace {

constexpr double kG_mps2 = 9.80665;

Site level_site() {
    Site site{};
    site.pad = {10, 20, 100};
    return site;
}

/// A vehicle with its nose up, fed sample by sample.
struct Bench {
    explicit Bench(const SensorNoise& sensors_in = {}) : sensors(sensors_in), navigation(sensors, site) {}

    void imu(const Vector3d& force_mps2, const Vector3d& rate_radps = Vector3d::Zero()) {
        t_ns += seconds_to_ns(period_s);
        navigation.imu({t_ns, force_mps2, rate_radps});
    }
    void stand(double seconds, const Vector3d& offset_mps2 = Vector3d::Zero()) {
        for (double s = 0; s < seconds; s += period_s) imu(Vector3d(kG_mps2, 0, 0) + offset_mps2);
    }
    [[nodiscard]] FixSample fix_at(const Vector3d& position_enu_m, const Vector3d& velocity_mps) const {
        const GeodeticPosition at = LocalFrame(site.pad).to_geodetic(position_enu_m);
        return {t_ns, at.latitude_deg, at.longitude_deg, at.height_m, velocity_mps, 3, 2.5, 4.0, 10};
    }

    Site site = level_site();
    SensorNoise sensors;
    double period_s = 0.005;
    std::int64_t t_ns = kNsPerS;
    Navigation navigation;
};

} // namespace

TEST_CASE("alignment works at the rates that radios have") {
    for (const double rate_hz : {5.0, 10.0, 50.0, 200.0}) {
        CAPTURE(rate_hz);
        Bench bench;
        bench.period_s = 1 / rate_hz;
        bench.stand(1.0);
        CHECK_FALSE(bench.navigation.estimate().valid);
        CHECK(bench.navigation.estimate().waits_for == AlignmentWait::averaging);
        bench.stand(2.5);
        CHECK(bench.navigation.estimate().mode == NavigationMode::at_rest);
    }
}

TEST_CASE("alignment measures stillness by the vehicle's own sensor figures and says what it waits for") {
    const Vector3d offset(2.0, 0, 0);
    Bench fine, coarse(SensorNoise{.accel_bias_mps2 = 2.0, .accel_range_mps2 = 1961});
    fine.stand(4, offset);
    coarse.stand(4, offset);
    CHECK(fine.navigation.estimate().waits_for == AlignmentWait::not_one_g);
    CHECK(coarse.navigation.estimate().mode == NavigationMode::at_rest);

    Bench turning;
    for (int k = 0; k < 400; ++k) turning.imu({kG_mps2, 0, 0}, {0, 0, 0.5});
    CHECK(turning.navigation.estimate().waits_for == AlignmentWait::turning);
}

TEST_CASE("fixes on the wrong datum leave the pad at height zero and show by how much") {
    for (const double datum_m : {-45.0, 0.0, 30.0}) {
        CAPTURE(datum_m);
        Bench bench;
        for (int k = 0; k < 100; ++k) {
            bench.stand(0.2);
            bench.navigation.fix(bench.fix_at({1, 2, datum_m}, Vector3d::Zero()));
        }
        bench.stand(0.2);
        const NavigationEstimate e = bench.navigation.estimate();
        CHECK(e.position_enu_m.z() == Approx(0).margin(0.1));
        CHECK(e.pad_datum_m + e.fix_bias_m.z() == Approx(datum_m).margin(0.1));
        CHECK(std::abs(e.pad_datum_m - datum_m) < e.pad_datum_sigma_m);
        // Half a minute cannot tell the datum from an error that wanders over 80 s.
        CHECK(e.pad_datum_sigma_m > 0.5 * bench.sensors.fix_vertical_m);
        CHECK(e.position_sigma_m.x() > 0.5 * bench.sensors.fix_horizontal_m);
    }
}

TEST_CASE("what lies where it came down without a fix is there still, not on the pad") {
    Bench bench;
    for (int k = 0; k < 25; ++k) {
        bench.stand(0.2);
        bench.navigation.fix(bench.fix_at({0, 0, 20}, Vector3d::Zero()));
    }
    // A fall along the rail's own axes, as far as an accelerometer can tell from rest.
    bench.navigation.set_motion(Motion::descent);
    double east_m = 0;
    for (int k = 0; k < 50; ++k) {
        bench.stand(0.2);
        east_m += 0.2 * 20;
        bench.navigation.fix(bench.fix_at({east_m, 0, 20 - 0.1 * k}, {20, 0, -0.5}));
    }
    const NavigationEstimate before = bench.navigation.estimate();
    bench.navigation.set_motion(Motion::rest);
    bench.stand(3);
    const NavigationEstimate after = bench.navigation.estimate();
    REQUIRE(after.mode == NavigationMode::at_rest);
    CHECK((after.position_enu_m - before.position_enu_m).norm() < 3 * before.position_sigma_m.norm());
    CHECK(after.position_enu_m.x() == Approx(east_m).margin(15));
    CHECK(after.pad_datum_m == Approx(before.pad_datum_m).margin(1e-6));
}

TEST_CASE("a smooth ride is not rest while fixes show its speed") {
    Bench bench;
    bench.stand(5);
    REQUIRE(bench.navigation.estimate().mode == NavigationMode::at_rest);
    double east_m = 0;
    for (int k = 0; k < 25; ++k) {
        bench.stand(0.2);
        east_m += 0.2 * 10;
        bench.navigation.fix(bench.fix_at({east_m, 0, 0}, {10, 0, 0}));
    }
    const NavigationEstimate riding = bench.navigation.estimate();
    CHECK(riding.mode != NavigationMode::at_rest);
    CHECK(riding.velocity_enu_mps.x() == Approx(10).margin(1.0));
    for (int k = 0; k < 40; ++k) {
        bench.stand(0.2);
        bench.navigation.fix(bench.fix_at({east_m, 0, 0}, Vector3d::Zero()));
    }
    CHECK(bench.navigation.estimate().mode == NavigationMode::at_rest);
}

TEST_CASE("a spin beyond the gyro's range keeps the nose and gives up the roll until it ends") {
    Bench bench;
    bench.stand(5);
    bench.navigation.set_motion(Motion::coast);
    const double range = bench.sensors.gyro_range_radps;
    for (int k = 0; k < 400; ++k) bench.imu({-5, 0, 0}, {range, 0, 0});
    const NavigationEstimate spinning = bench.navigation.estimate();
    REQUIRE(spinning.valid);
    CHECK_FALSE(spinning.roll_known);
    CHECK(spinning.attitude_sigma_rad.x() > 1.5);
    CHECK(spinning.tilt_rad < 0.01);
    CHECK(spinning.tilt_sigma_rad < 0.2);
    for (int k = 0; k < 40; ++k) bench.imu({-5, 0, 0});
    const NavigationEstimate after = bench.navigation.estimate();
    CHECK(after.roll_known);
    CHECK(after.hypotheses == PadAlignment::kHypotheses); // any turn about the nose
    CHECK(after.attitude_sigma_rad.x() > 1.5);
    CHECK(after.tilt_sigma_rad < 0.2);
}

TEST_CASE("an accelerometer at its range counts as a bound with an error that lasts") {
    SensorNoise sensors;
    sensors.accel_range_mps2 = 90;
    Bench bench(sensors);
    bench.stand(5);
    bench.navigation.set_motion(Motion::boost);
    constexpr double kTrue_mps2 = 110;
    for (int k = 0; k < 200; ++k) bench.imu({std::min(kTrue_mps2, sensors.accel_range_mps2), 0, 0});
    const NavigationEstimate e = bench.navigation.estimate();
    const double error_mps = (kTrue_mps2 - kG_mps2) * 1.0 - e.velocity_enu_mps.z();
    CAPTURE(error_mps, e.velocity_sigma_mps.z());
    CHECK(error_mps < 2 * e.velocity_sigma_mps.z());
    CHECK(e.velocity_sigma_mps.head<2>().maxCoeff() < 5); // across, nothing was clipped
}

TEST_CASE("attitude that a long gap took is found again in motion from velocity and force") {
    Bench bench;
    bench.stand(5);
    bench.navigation.set_motion(Motion::descent);
    bench.imu({kG_mps2, 0, 0});
    bench.t_ns += 6 * kNsPerS;
    bench.imu({0, 0, kG_mps2});
    REQUIRE_FALSE(bench.navigation.estimate().valid);
    CHECK(bench.navigation.estimate().mode == NavigationMode::lost);
    CHECK(bench.navigation.estimate().waits_for == AlignmentWait::not_at_rest);

    // It hangs with its z axis up and sinks at a steady speed.
    TranslationEstimate translation;
    translation.valid = true;
    translation.velocity_enu_mps = {3, 1, -8};
    translation.covariance.setZero();
    translation.covariance.diagonal() << 4, 4, 4, 0.04, 0.04, 0.04, 1, 1, 1, 4, 4, 9, 0.01, 16;
    // A place from fixes is wrong by what fixes are, and their parts by what the others are not.
    for (int axis = 0; axis < 3; ++axis)
        translation.covariance(axis, 9 + axis) = translation.covariance(9 + axis, axis) = -3;
    translation.covariance(11, 13) = translation.covariance(13, 11) = -8;
    translation.fix_errors << 1, -2, 3, 0.05, -4;
    for (int k = 0; k < 10 && !bench.navigation.estimate().valid; ++k) {
        for (int j = 0; j < 40; ++j) bench.imu({0, 0, kG_mps2});
        translation.t_ns = bench.t_ns;
        translation.position_enu_m = Vector3d(100, 50, 400) + 0.2 * k * translation.velocity_enu_mps;
        bench.navigation.align_in_motion(translation);
    }
    const NavigationEstimate e = bench.navigation.estimate();
    REQUIRE(e.valid);
    CHECK((e.q_local_body * Vector3d::UnitZ()).z() > std::cos(0.1));
    CHECK(e.velocity_enu_mps.z() == Approx(-8).margin(0.5));
    CHECK(e.attitude_sigma_rad.z() > 1.5); // the heading is anybody's guess
    CHECK(e.attitude_sigma_rad.x() < 0.3);
    CHECK(e.fix_bias_m.isApprox(Vector3d(1, -2, 3)));
    CHECK(e.pad_datum_m == Approx(-4));
    const Eskf::Covariance p = bench.navigation.covariance();
    CHECK(Eigen::LLT<Eskf::Covariance>(p).info() == Eigen::Success);
    CHECK(p(Eskf::kPosition, Eskf::kFixBias) == Approx(-3));
    CHECK(p(Eskf::kFixBias + 2, Eskf::kDatum) == Approx(-8));
}

TEST_CASE("at rest the attitude that is shown stays, though nothing tells its heading") {
    for (const Vector3d& up : {Vector3d(1, 0, 0), Vector3d(0.1, 0.9, -0.4), Vector3d(0.02, 0.01, -1)}) {
        CAPTURE(up.transpose());
        Bench bench;
        std::mt19937 random(5);
        std::normal_distribution<double> normal;
        std::optional<Eigen::Quaterniond> before;
        double most_rad = 0;
        for (int k = 0; k < 4000; ++k) {
            const double x = normal(random), y = normal(random), z = normal(random);
            bench.imu(kG_mps2 * up.normalized() + 0.2 * Vector3d(x, y, z), 0.003 * Vector3d(z, x, y));
            if (k < 1000 || k % 20 != 0) continue;
            const NavigationEstimate e = bench.navigation.estimate();
            REQUIRE(e.valid);
            CHECK(e.attitude_sigma_rad.maxCoeff() > 1.0);
            if (before) most_rad = std::max(most_rad, before->angularDistance(e.q_local_body));
            before = e.q_local_body;
        }
        CHECK(most_rad < 0.05);
    }
}

TEST_CASE("a reboot hides what a fade of the same length may not: a charge") {
    for (const bool reboots : {false, true}) {
        INFO((reboots ? "reboot" : "fade"));
        Bench bench;
        bench.stand(5);
        bench.navigation.set_motion(Motion::coast);
        bench.imu(Vector3d::Zero());
        bench.t_ns += seconds_to_ns(1.8);
        if (reboots) bench.navigation.reboot();
        bench.imu(Vector3d::Zero());
        CHECK(bench.navigation.estimate().valid == !reboots);
    }
}

TEST_CASE("in free fall no attitude is made up") {
    Bench bench;
    bench.navigation.set_motion(Motion::coast);
    TranslationEstimate translation;
    translation.valid = true;
    translation.covariance.setZero();
    translation.fix_errors.setZero();
    translation.covariance.diagonal().head<9>() << 4, 4, 4, 0.04, 0.04, 0.04, 1, 1, 1;
    translation.position_enu_m = {0, 0, 500};
    translation.velocity_enu_mps = {0, 0, 50};
    for (int k = 0; k < 15; ++k) {
        for (int j = 0; j < 40; ++j) bench.imu(Vector3d::Zero());
        translation.t_ns = bench.t_ns;
        translation.velocity_enu_mps.z() -= 0.2 * kG_mps2;
        bench.navigation.align_in_motion(translation);
        CHECK_FALSE(bench.navigation.estimate().valid);
    }
}
