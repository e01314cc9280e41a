/// Sensor models: the figures of vehicle.json come out of them, and they clip, step, lag and fail as said.
#include <cmath>
#include <limits>

#include "tests/sim/support.hpp"
#include "tools/sim/avionics/handling.hpp"

using namespace turnstone;
using namespace turnstone::sim;

TEST_CASE("Inertial noise has the stated sigma and resolution") {
    SensorNoise noise;
    noise.accel_bias_mps2 = 0.0;
    noise.gyro_bias_radps = 0.0;
    noise.accel_bias_walk_mps2_rts = 0.0;
    noise.gyro_bias_walk_radps_rts = 0.0;
    noise.accel_noise_mps2 = 0.25;
    noise.gyro_noise_radps = 0.004;
    InertialSensor sensor(noise, Random(5, "inertial"));
    const double step = noise.accel_range_mps2 / 32768.0;
    double sum = 0.0, sum_square = 0.0, rate_square = 0.0;
    const int count = 20000;
    for (int i = 0; i < count; ++i) {
        const ImuReading reading = sensor.read(i * 0.005, {9.8, 0.0, 0.0}, Eigen::Vector3d::Zero());
        const double counts = reading.accel_body_mps2.x() / step;
        REQUIRE(std::abs(counts - std::round(counts)) < 1e-6);
        sum += reading.accel_body_mps2.x() - 9.8;
        sum_square += std::pow(reading.accel_body_mps2.x() - 9.8, 2);
        rate_square += std::pow(reading.rate_body_radps.y(), 2);
    }
    // Standard errors: sigma/sqrt(n) of the mean, sigma/sqrt(2n) of sigma; four of them.
    CHECK(sum / count == Approx(0.0).margin(4.0 * 0.25 / std::sqrt(count)));
    CHECK(std::sqrt(sum_square / count) == Approx(0.25).epsilon(4.0 / std::sqrt(2.0 * count)));
    CHECK(std::sqrt(rate_square / count) == Approx(0.004).epsilon(0.03));
}

TEST_CASE("Turn-on bias and its walk have the stated sigma") {
    SensorNoise noise;
    noise.accel_bias_mps2 = 0.3;
    noise.accel_noise_mps2 = 0.0;
    noise.accel_bias_walk_mps2_rts = 0.02;
    double turn_on = 0.0, walked = 0.0;
    const int runs = 400;
    for (std::uint64_t seed = 0; seed < runs; ++seed) {
        InertialSensor sensor(noise, Random(seed, "inertial"));
        const Eigen::Vector3d before = sensor.accel_bias_mps2();
        for (int i = 0; i < 400; ++i) // 2 s
            (void)sensor.read(i * 0.005, Eigen::Vector3d::Zero(), Eigen::Vector3d::Zero());
        turn_on += before.squaredNorm();
        walked += (sensor.accel_bias_mps2() - before).squaredNorm();
    }
    const double relative = 4.0 / std::sqrt(2.0 * 3.0 * runs);
    CHECK(std::sqrt(turn_on / (3.0 * runs)) == Approx(0.3).epsilon(relative));
    CHECK(std::sqrt(walked / (3.0 * runs)) == Approx(0.02 * std::sqrt(2.0)).epsilon(relative));
}

TEST_CASE("Accelerometer and gyroscope clip at their range") {
    const SensorNoise noise;
    InertialSensor sensor(noise, Random(1, "inertial"));
    const ImuReading reading = sensor.read(0.0, {1e4, -1e4, 0.0}, {100.0, -100.0, 0.0});
    CHECK(reading.accel_body_mps2.x() == Approx(noise.accel_range_mps2).epsilon(1e-4));
    CHECK(reading.accel_body_mps2.x() < noise.accel_range_mps2);
    CHECK(reading.accel_body_mps2.y() == -noise.accel_range_mps2);
    CHECK(reading.rate_body_radps.x() == Approx(noise.gyro_range_radps).epsilon(1e-4));
    CHECK(reading.rate_body_radps.y() == -noise.gyro_range_radps);
}

TEST_CASE("The barometer lags, steps by one pascal and clips") {
    SensorNoise noise;
    noise.pressure_noise_pa = 0.0;
    noise.pressure_bias_pa = 0.0;
    PressureSensor sensor(noise, 0.1, Random(1, "barometer"));
    sensor.follow(90000.0, 0.005);
    CHECK(sensor.read(0.0) == 90000.0);
    for (int i = 0; i < 20; ++i) // one time constant
        sensor.follow(91000.0, 0.005);
    CHECK(sensor.read(0.0) == Approx(90000.0 + 1000.0 * (1.0 - std::exp(-1.0))).margin(0.51));
    CHECK(sensor.read(0.3) == std::round(sensor.read(0.3)));
    CHECK(sensor.read(1e6) == 120000.0);
}

TEST_CASE("Sums of the inertial truth give the velocity and attitude of the flight") {
    // Specific force and rate are means over each step: summing them with gravity must rebuild the motion.
    // This checks the sign and frame conventions that estimators rely on.
    const Scenario scenario = demo_scenario("nominal");
    const FlightSetup setup = make_setup(scenario, 1);
    const Truth truth = run_truth(setup, RunKind::flight, 0.0, 0.0);
    Eigen::Quaterniond q = truth.samples.front().q_local_body;
    Eigen::Vector3d velocity = Eigen::Vector3d::Zero();
    Eigen::Vector3d position = Eigen::Vector3d::Zero();
    for (std::size_t i = 1; truth.samples[i].t_s < truth.events.apogee_s; ++i) {
        const TruthSample& sample = truth.samples[i];
        const Eigen::Vector3d turn = sample.rate_body_radps * kTruthStep_s;
        const Eigen::Quaterniond half(Eigen::AngleAxisd(0.5 * turn.norm(), turn.stableNormalized()));
        const Eigen::Vector3d accel = (q * half) * sample.specific_force_body_mps2 -
                                      Eigen::Vector3d(0.0, 0.0, setup.gravity.at(sample.position_enu_m.z()));
        position += kTruthStep_s * (velocity + 0.5 * kTruthStep_s * accel);
        velocity += kTruthStep_s * accel;
        q = (q * half * half).normalized();
        if (i % 400 == 0) {
            INFO("t = " << sample.t_s);
            CHECK((velocity - sample.velocity_enu_mps).norm() < 0.05);
            CHECK((position - sample.position_enu_m).norm() < 0.2);
            CHECK(distance(q, sample.q_local_body) < 2e-4);
        }
    }
}

TEST_CASE("Fixes come late, scatter as stated, and are lost under thrust") {
    const Scenario scenario = demo_scenario("nominal");
    double east = 0.0, up = 0.0;
    int good = 0, lost_under_thrust = 0;
    const LocalFrame frame(scenario.site.pad);
    for (std::uint64_t seed = 1; seed <= 10; ++seed) {
        const SensedFlight flight = fly_sensors(scenario, seed);
        for (const FixReading& fix : flight.sensors.fix) {
            CHECK(fix.t_s - fix.t_valid_s == Approx(scenario.vehicle.sensors.fix_delay_s).margin(1e-9));
            const auto& truth =
                flight.truth.samples.at(static_cast<std::size_t>(std::lround(fix.t_valid_s / kTruthStep_s)) - 1);
            if (fix.fix_dimensions == 3) {
                const Eigen::Vector3d error = frame.to_enu_m({fix.latitude_deg, fix.longitude_deg,
                                                              fix.height_msl_m + scenario.site.geoid_height_m}) -
                                              truth.position_enu_m;
                east += error.x() * error.x();
                up += error.z() * error.z();
                ++good;
            } else if (truth.phase == TruePhase::under_thrust) {
                ++lost_under_thrust;
            }
        }
    }
    CHECK(std::sqrt(east / good) == Approx(scenario.vehicle.sensors.fix_horizontal_m).epsilon(0.05));
    CHECK(std::sqrt(up / good) == Approx(scenario.vehicle.sensors.fix_vertical_m).epsilon(0.05));
    CHECK(lost_under_thrust >= 50);
}

TEST_CASE("Handling is felt and ends at rest") {
    const Scenario scenario = demo_scenario("on-the-rail");
    for (int kind = 0; kind < kHandlingCount; ++kind) {
        const auto handling = static_cast<Handling>(kind);
        INFO(to_string(handling));
        double greatest_change_pa = 0.0, greatest_force = 0.0;
        const HandlingStream stream = handle(handling, scenario, 4, 30.0);
        REQUIRE(stream.imu.size() == 6000);
        REQUIRE(stream.pressure.size() == 750);
        for (const PressureReading& reading : stream.pressure) {
            greatest_change_pa =
                std::max(greatest_change_pa, std::abs(reading.pressure_pa - stream.pressure[10].pressure_pa));
        }
        for (const ImuReading& reading : stream.imu)
            greatest_force = std::max(greatest_force, std::abs(reading.accel_body_mps2.norm() - 9.8));
        CHECK((greatest_change_pa > 40.0 || greatest_force > 10.0));
        for (std::size_t i = stream.imu.size() - 400; i < stream.imu.size(); ++i)
            REQUIRE(stream.imu[i].accel_body_mps2.norm() == Approx(9.8).margin(3.0));
        if (handling == Handling::bump || handling == Handling::drop) CHECK(stream.greatest_axial_mps2 > 60.0);
        if (handling == Handling::swing) CHECK(stream.greatest_axial_mps2 > 20.0);
    }
}
