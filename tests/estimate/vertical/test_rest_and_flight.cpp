// Rest and flight side by side: how soon the vertical filter doubts rest, what it makes of shocks on a stand, and a
// real quadrotor's flight that nobody announced (tests/reference/data/SOURCES.md).
#include <random>

#include <catch2/catch.hpp>

#include "server/estimate/math/angles.hpp"
#include "server/estimate/vertical/vertical_filter.hpp"
#include "server/estimate/vertical/vertical_input.hpp"
#include "shared/time.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone;
using namespace turnstone::estimate;

namespace {

constexpr std::int64_t kBegan_ns = 1'000'000'000'000;
std::int64_t after(double t_s) {
    return kBegan_ns + seconds_to_ns(t_s);
}

} // namespace

TEST_CASE("heights alone: the stated speed opens with the second odd height of a liftoff") {
    for (const double hz : {1.0, 5.0, 25.0}) {
        INFO(hz << " Hz");
        double normalised = 0;
        int rows = 0;
        for (unsigned seed = 1; seed <= 40; ++seed) {
            std::mt19937_64 random(seed);
            std::normal_distribution<double> normal;
            VerticalFilter filter(VerticalSettings{});
            int odd = 0;
            const double begins_s = 20.0 + 0.025 * seed;
            for (int i = 0; i / hz < begins_s + 1.0 + 2.0 / hz; ++i) {
                const double t_s = i / hz;
                const double since_s = std::max(0.0, t_s - begins_s);
                const double height_m = 45.0 * since_s * since_s;
                filter.height(after(t_s), height_m + 0.5 * normal(random), 0.5);
                odd += height_m > 2.0;
                if (odd < 2) continue;
                const VerticalEstimate e = filter.estimate();
                normalised += std::pow((e.vertical_speed_mps - 90.0 * since_s) / e.vertical_speed_sigma_mps, 2);
                ++rows;
            }
        }
        INFO("mean square of error over sigma " << normalised / rows);
        CHECK(normalised / rows < 3.0);
    }
}

// What the fixes are late by differs from what is told by a 1-sigma of what is said of it, or two. A first fix in
// motion, far from all before, may be a bad one: rest is believed for one fix longer in a few launches.
TEST_CASE("fixes alone: nobody is told that a vehicle rests at a time at which it may have left already") {
    const VerticalSettings settings;
    int launches = 0, misled = 0;
    for (const double delay_s : {settings.fix_delay_s, settings.fix_delay_s + settings.fix_delay_sigma_s,
                                 settings.fix_delay_s + 2 * settings.fix_delay_sigma_s}) {
        for (unsigned seed = 1; seed <= 20; ++seed) {
            std::mt19937_64 random(seed);
            std::normal_distribution<double> normal;
            VerticalFilter filter(settings);
            bool is_misled = false;
            filter.start_on_rail(after(0), 0.5);
            const double begins_s = 30.0 + 0.01 * seed;
            for (int i = 0; i < 153; ++i) { // to the second fix in flight
                const double t_s = 0.2 * i;
                const double since_s = std::max(0.0, t_s - begins_s);
                filter.fix({.t_ns = after(t_s + delay_s),
                            .t_valid_ns = 0,
                            .height_m = 30.0 * since_s * since_s + 3.0 * normal(random),
                            .height_sigma_m = 3.0,
                            .speed_mps = 60.0 * since_s + 0.3 * normal(random),
                            .speed_sigma_mps = 0.3});
                const VerticalEstimate e = filter.estimate();
                if (e.rest_probability < 0.5) break;
                const double truth_mps = 60.0 * std::max(0.0, seconds_between(after(begins_s), e.t_ns));
                is_misled |= std::fabs(e.vertical_speed_mps - truth_mps) > 5.0 * e.vertical_speed_sigma_mps;
            }
            ++launches;
            misled += is_misled;
        }
    }
    INFO("in " << misled << " of " << launches << " launches");
    CHECK(misled * 10 < launches);
}

// Thrust that rises to 90 m/s2 within 60 ms, at any moment of the accelerometer's cycles; kinematics say the rest.
TEST_CASE("an accelerometer shows a launch from its first samples, with the sigma that they are worth") {
    double normalised = 0, worst = 0, widest_mps = 0;
    int rows = 0;
    for (unsigned seed = 1; seed <= 40; ++seed) {
        std::mt19937_64 random(seed);
        std::normal_distribution<double> normal;
        VerticalFilter filter(VerticalSettings{});
        VerticalInput input(SensorNoise{}, 9.80665);
        filter.start(after(0), 0.0, 1.0, 0.0, 0.1);
        const double begins_s = 60.0 + 0.0137 * seed;
        double speed_mps = 0;
        for (int i = 1; 0.01 * i < begins_s + 0.3; ++i) {
            const double t_s = 0.01 * i, since_s = std::max(0.0, t_s - begins_s), before_mps = speed_mps;
            speed_mps = since_s < 0.06 ? 0.5 * 90.0 / 0.06 * since_s * since_s : 90.0 * (since_s - 0.03);
            const double acceleration_mps2 = (speed_mps - before_mps) / 0.01; // a sample is the mean of its interval
            const Eigen::Vector3d force(9.80665 + acceleration_mps2 + 0.3 * normal(random), 0.3 * normal(random),
                                        0.3 * normal(random));
            const auto up = input.acceleration({after(t_s), force, Eigen::Vector3d::Constant(kNaN)}, {}, Motion::rest);
            REQUIRE(up);
            filter.accelerometer(after(t_s), up->accel_up_mps2, up->sigma_mps2, up->force_mps2, up->fraction);
            if (i % 4 == 0) filter.height(after(t_s), 0.5 * speed_mps * since_s + 0.5 * normal(random), 0.5);
            if (acceleration_mps2 < 10.0) continue;
            const VerticalEstimate e = filter.estimate();
            const double off = (e.vertical_speed_mps - speed_mps) / e.vertical_speed_sigma_mps;
            normalised += off * off;
            worst = std::max(worst, std::abs(off));
            widest_mps = std::max(widest_mps, e.vertical_speed_sigma_mps);
            ++rows;
        }
    }
    INFO("mean square of error over sigma " << normalised / rows << ", worst " << worst << ", " << rows << " rows");
    CHECK(rows > 1000);
    CHECK(widest_mps < 0.6);
    CHECK(normalised / rows < 2.0);
    CHECK(worst < 6.0);
}

TEST_CASE("an accelerometer at its range: one sample says nothing of rest, a row of them speaks against it") {
    for (const int clipped : {1, 25}) {
        CAPTURE(clipped);
        VerticalFilter filter(VerticalSettings{});
        VerticalInput input(SensorNoise{}, 9.80665);
        filter.start(after(0), 0.0, 1.0, 0.0, 0.1);
        const auto rest = [&](int i) {
            const auto up = input.acceleration(
                {after(0.01 * i), Eigen::Vector3d(9.80665, 0, 0), Eigen::Vector3d::Constant(kNaN)}, {}, Motion::rest);
            filter.accelerometer(after(0.01 * i), up->accel_up_mps2, up->sigma_mps2, up->force_mps2, up->fraction);
            if (i % 4 == 0) filter.height(after(0.01 * i), 0.0, 0.5);
        };
        for (int i = 1; i < 6000; ++i) rest(i);
        REQUIRE(filter.estimate().rest_probability > 0.8);
        for (int i = 6000; i < 6000 + clipped; ++i) filter.clipped(after(0.01 * i), 80.0, 20.0);
        if (clipped == 1)
            for (int i = 6001; i < 6025; ++i) rest(i);
        CHECK((filter.estimate().rest_probability > 0.8) == (clipped == 1));
    }
}

TEST_CASE("shocks on a stand are not climb, upright or lying") {
    for (const bool lying : {false, true}) {
        INFO((lying ? "lying" : "upright"));
        std::mt19937_64 random(3);
        std::normal_distribution<double> normal;
        VerticalFilter filter(VerticalSettings{});
        VerticalInput input(SensorNoise{}, 9.80665);
        filter.start(after(0), 0.0, 1.0, 0.0, 0.1);
        double squares = 0;
        int rows = 0;
        for (int i = 1; i < 40 * 200; ++i) {
            const double t_s = 0.005 * i;
            Eigen::Vector3d force = lying ? Eigen::Vector3d(0.3, 9.80, 0.1) : Eigen::Vector3d(9.80, 0.2, 0.3);
            for (int k = 0; k < 3; ++k) force(k) += 0.3 * normal(random);
            // A charge every ten seconds: the bay rings for a tenth of a second, along its axis most.
            const double rings_s = std::fmod(t_s, 10.0) - 5.0;
            if (rings_s > 0 && rings_s < 0.1) {
                const double swing = 120.0 * std::exp(-rings_s / 0.03) * std::cos(2.0 * M_PI * 43.0 * rings_s);
                force.x() += swing;
                force.y() += 0.4 * swing;
            }
            const auto up = input.acceleration({after(t_s), force, Eigen::Vector3d::Constant(kNaN)}, {}, Motion::rest);
            REQUIRE(up);
            if (up->clipped)
                filter.clipped(after(t_s), up->accel_up_mps2, up->sigma_mps2);
            else
                filter.accelerometer(after(t_s), up->accel_up_mps2, up->sigma_mps2, up->force_mps2, up->fraction);
            if (i % 8 == 0) filter.height(after(t_s), 0.5 * normal(random), 0.5);
            if (t_s < 5.0) continue;
            squares += std::pow(filter.estimate().vertical_speed_mps, 2);
            ++rows;
        }
        const double rms_mps = std::sqrt(squares / rows);
        INFO("rms " << rms_mps << " m/s");
        CHECK(rms_mps < 0.1);
    }
}

TEST_CASE("a quadrotor that nobody announced is followed with heights once a second") {
    // tests/reference/data/SOURCES.md. Acc in m/s2 (z up: its mean along the vertical is 9.7), Euler angles Z-Y'-X'' in
    // degrees; both follow from the data.
    const auto imu = test::reference_rows("data/quadrotor_vertical/IMU_1.csv");
    const auto truth = test::reference_rows("data/quadrotor_vertical/GT.csv");
    REQUIRE(imu.size() > 3000);
    for (const Motion motion : {Motion::rest, Motion::moving, Motion::coast}) {
        VerticalSettings settings;
        settings.accel_bias_mps2 = 0.5;
        settings.accel_bias_walk_mps2_rts = 0.02;
        VerticalFilter filter(settings);
        filter.set_motion(motion);
        filter.start(after(0), truth[0][6], 0.1, 0.0, 1.0);
        VerticalInput input(SensorNoise{.accel_noise_mps2 = 2.0}, 9.80665);
        std::size_t next = 1;
        double squares = 0.0;
        int compared = 0;
        for (const auto& row : imu) {
            const double roll = row[1] * M_PI / 180.0;
            const double pitch = row[2] * M_PI / 180.0;
            const TiltInput tilt{{-std::sin(pitch), std::sin(roll) * std::cos(pitch), std::cos(roll) * std::cos(pitch)},
                                 0.01};
            while (next < truth.size() && truth[next][0] <= row[0]) {
                // Heights between the thinned ones are only compared with, before the filter may see any of them.
                const VerticalEstimate e = filter.estimate();
                const double ahead_s = truth[next][0] - seconds_between(kBegan_ns, e.t_ns);
                if (truth[next][0] > 3.0) {
                    squares += std::pow(e.altitude_m + e.vertical_speed_mps * ahead_s - truth[next][6], 2);
                    ++compared;
                }
                if (next % 10 == 0) filter.height(after(truth[next][0]), truth[next][6], 0.08);
                ++next;
            }
            const ImuSample sample{after(row[0]), {row[4], row[5], row[6]}, Eigen::Vector3d::Constant(kNaN)};
            const auto up = input.acceleration(sample, tilt, motion);
            REQUIRE(up);
            filter.accelerometer(sample.t_ns, up->accel_up_mps2, up->sigma_mps2);
        }
        const double rms_m = std::sqrt(squares / compared);
        INFO("motion " << static_cast<int>(motion) << ": rms " << rms_m << " m over " << compared << " heights");
        CHECK(compared > 280);
        CHECK(rms_m < 0.3);
    }
}

TEST_CASE("a vehicle that rests again may rest in another pose, where another bias acts upwards") {
    // It stands on its tail, then lies: the bias of 0.6 m/s2 that its long axis showed is none of the other's. With
    // that axis alone all of gravity is missing.
    const double lying_mps2 = GENERATE(0.1, -9.7);
    VerticalFilter filter(VerticalSettings{});
    const auto feel = [&](double from_s, double to_s, double bias_mps2) {
        for (int k = 1; k <= std::lround((to_s - from_s) / 0.01); ++k) {
            const std::int64_t t_ns = after(from_s + 0.01 * k);
            filter.accelerometer(t_ns, bias_mps2, 0.05, 0.0);
            if (k % 4 == 0) filter.height(t_ns, 0, 0.5);
        }
    };
    filter.start_on_rail(after(0), 0.5);
    feel(0, 20, -0.6);
    CHECK(filter.estimate().accel_bias_mps2 == Approx(-0.6).margin(0.05));
    filter.set_motion(Motion::descent);
    feel(20, 25, -0.6);
    filter.set_motion(Motion::rest);
    double worst_sigmas = 0, worst_mps = 0;
    for (double t_s = 25; t_s < 35; t_s += 0.1) {
        feel(t_s, t_s + 0.1, lying_mps2);
        const VerticalEstimate e = filter.estimate();
        worst_mps = std::max(worst_mps, std::abs(e.vertical_speed_mps));
        worst_sigmas = std::max(worst_sigmas, std::abs(e.vertical_speed_mps) / e.vertical_speed_sigma_mps);
    }
    CHECK(worst_sigmas < 3);
    CHECK(worst_mps < 0.1);
    CHECK(filter.estimate().accel_bias_mps2 == Approx(lying_mps2).margin(0.05));
}

TEST_CASE("a launch in a silence is known with the first height behind it") {
    // 90 m/s2 for 1.5 s in a silence of 3 s, then a steady climb, which feels like rest. Before the height nobody is
    // told that it rests for sure.
    VerticalFilter filter(VerticalSettings{});
    const auto speed_mps = [](double t_s) { return t_s < 1.5 ? 90 * t_s : 135; };
    const auto height_m = [](double t_s) { return t_s < 1.5 ? 45 * t_s * t_s : 101.25 + 135 * (t_s - 1.5); };
    filter.start_on_rail(after(-20), 0.5);
    for (int k = -1994; k <= 0; ++k) {
        filter.accelerometer(after(0.01 * k), 0, 0.1, 0.0);
        if (k % 4 == 0) filter.height(after(0.01 * k), 0, 0.5);
    }
    filter.accelerometer(after(3.0), 0, 0.1, 0.0);
    CHECK(filter.estimate().vertical_speed_sigma_mps > 15);
    filter.height(after(3.01), height_m(3.01), 0.5);
    for (int k = 1; k < 100; ++k) {
        const double t_s = 3.0 + 0.01 * k;
        filter.accelerometer(after(t_s), 0, 0.1, 0.0);
        if (k > 1 && k % 4 == 0) filter.height(after(t_s), height_m(t_s), 0.5);
        const VerticalEstimate e = filter.estimate();
        INFO("at " << t_s << " s: " << e.altitude_m << " m, " << e.vertical_speed_mps << " m/s ± "
                   << e.vertical_speed_sigma_mps);
        CHECK(std::abs(e.altitude_m - height_m(t_s)) < 3 * e.altitude_sigma_m);
        CHECK(std::abs(e.vertical_speed_mps - speed_mps(t_s)) < 3 * e.vertical_speed_sigma_mps);
    }
    CHECK(filter.estimate().vertical_speed_mps == Approx(speed_mps(3.99)).margin(3));
}

// Drag slows a climb (any textbook of flight mechanics): what an axis feels of it may be as large as gravity.
TEST_CASE("a coast that a silence hid is not taken for rest upside down, a vehicle that was turned over is") {
    constexpr double kGravity_mps2 = 9.80665;
    const auto rested = [&](double stands_s) {
        VerticalInput input(SensorNoise{}, kGravity_mps2);
        for (int k = 0; k < 200 * stands_s; ++k)
            static_cast<void>(input.acceleration({after(0.005 * k), {kGravity_mps2, 0.3, 0}, {}}, {}, Motion::rest));
        return input;
    };
    for (const double drag_mps2 : {9.2, 9.8, 10.3})
        for (const double silent_s : {0.3, 1.0, 3.0}) {
            VerticalInput input = rested(20);
            for (int k = 0; k < 400; ++k) {
                const ImuSample sample{after(20 + silent_s + 0.005 * k), {-drag_mps2, 0.1, 0}, {}};
                const auto seen = input.acceleration(sample, {}, Motion::rest);
                REQUIRE(seen);
                INFO(silent_s << " s of silence, drag " << drag_mps2 << " m/s2, " << 0.005 * k << " s behind it");
                CHECK(seen->accel_up_mps2 == Approx(-drag_mps2 - kGravity_mps2).margin(0.2));
            }
        }
    VerticalInput input = rested(20);
    for (int k = 0; k < 2000; ++k)
        static_cast<void>(input.acceleration({after(20 + 0.005 * k), {-kGravity_mps2, 0, 0}, {}}, {}, Motion::rest));
    const auto seen = input.acceleration({after(30), {-kGravity_mps2, 0, 0}, {}}, {}, Motion::rest);
    CHECK(seen->accel_up_mps2 == Approx(0).margin(0.2));
}

TEST_CASE("a vehicle that has come down lies anyhow, and nothing of gravity is taken for a fall") {
    constexpr double kGravity_mps2 = 9.80665;
    for (const double nose_deg : {90.0, 40.0, 3.0, 0.0, -3.0, -40.0, -90.0}) {
        VerticalInput input(SensorNoise{}, kGravity_mps2);
        for (int k = 0; k < 2000; ++k)
            static_cast<void>(input.acceleration({after(0.005 * k), {kGravity_mps2, 0, 0}, {}}, {}, Motion::rest));
        for (int k = 2000; k < 8000; ++k) // under its parachutes
            static_cast<void>(input.agitation_mps2({after(0.005 * k), {0.5, kGravity_mps2, 0.5}, {}}));
        const double nose_rad = radians(nose_deg);
        const Eigen::Vector3d force = kGravity_mps2 * Eigen::Vector3d(std::sin(nose_rad), std::cos(nose_rad), 0);
        for (int k = 8000; k < 9000; ++k) {
            const auto seen = input.acceleration({after(0.005 * k), force, {}}, {}, Motion::rest);
            REQUIRE(seen);
            INFO("nose " << nose_deg << " degrees up, " << 0.005 * (k - 8000) << " s after rest was found");
            CHECK(seen->accel_up_mps2 == Approx(0).margin(0.05));
        }
    }
}

TEST_CASE("a vehicle that is laid on its other side by hand shows it in a few seconds") {
    constexpr double kGravity_mps2 = 9.80665;
    for (const double by_deg : {60.0, 100.0, 135.0}) {
        VerticalInput input(SensorNoise{}, kGravity_mps2);
        for (int k = 0; k < 2000; ++k)
            static_cast<void>(input.acceleration({after(0.005 * k), {kGravity_mps2, 0, 0}, {}}, {}, Motion::rest));
        const Eigen::Vector3d force =
            kGravity_mps2 * Eigen::Vector3d(std::cos(radians(by_deg)), std::sin(radians(by_deg)), 0);
        std::optional<VerticalAcceleration> seen;
        for (int k = 2000; k < 2800; ++k) seen = input.acceleration({after(0.005 * k), force, {}}, {}, Motion::rest);
        REQUIRE(seen);
        INFO("by " << by_deg << " degrees");
        CHECK(seen->accel_up_mps2 == Approx(0).margin(0.3));
    }
}
