/// What the error sets add to sensors and flights: sizes against closed forms computed outside this project
/// (tests/reference/numerics2), kinds by their statistics.
#include <cmath>
#include <numbers>

#include "tests/sim/support.hpp"
#include "tools/sim/avionics/inertial.hpp"
#include "tools/sim/avionics/receiver.hpp"

using namespace turnstone;
using namespace turnstone::sim;

namespace {

SensorNoise silent() {
    SensorNoise noise;
    for (double* each : {&noise.accel_noise_mps2, &noise.accel_bias_mps2, &noise.accel_bias_walk_mps2_rts,
                         &noise.gyro_noise_radps, &noise.gyro_bias_radps, &noise.gyro_bias_walk_radps_rts})
        *each = 0.0;
    noise.accel_range_mps2 = 1000.0;
    return noise;
}

/// Velocity error at burnout along and across of a sensor carried straight up through a half-sine boost.
Eigen::Vector3d velocity_error_mps(InertialSensor sensor, const nlohmann::json& inputs) {
    const double peak = inputs["peak_acceleration_m_s2"], burn_s = inputs["burn_time_s"], g = inputs["gravity"];
    const int steps = static_cast<int>(std::lround(burn_s * 1000.0));
    Eigen::Vector3d sum = Eigen::Vector3d::Zero();
    for (int i = 0; i < steps; ++i) {
        const double t_s = (i + 0.5) * 1e-3;
        const Eigen::Vector3d force(peak * std::sin(std::numbers::pi * t_s / burn_s) + g, 0.0, 0.0);
        sum += (sensor.read(t_s, force, Eigen::Vector3d::Zero()).accel_body_mps2 - force) * 1e-3;
    }
    return sum;
}

struct Moments {
    double sum = 0.0, square = 0.0, worst = 0.0;
    int count = 0;
    void add(double value) {
        sum += value;
        square += value * value;
        worst = std::max(worst, std::abs(value));
        ++count;
    }
    [[nodiscard]] double rms() const { return std::sqrt(square / count); }
};

} // namespace

TEST_CASE("Scale, misalignment and clipping of the accelerometer cost the velocity that closed forms say") {
    const auto cases = reference_cases("numerics2/imu_errors.json", "boost");
    REQUIRE(cases.size() == 3);
    int clipped = 0;
    for (const nlohmann::json& reference : cases) {
        INFO(reference["id"]);
        const auto& in = reference["inputs"];
        const auto& expected = reference["expected"];
        InertialUnit scaled;
        scaled.accel(0, 0) += in["scale_error"].get<double>();
        CHECK(velocity_error_mps({silent(), Random(1, "none"), scaled}, in).x() ==
              Approx(expected["scale_1pct_raw"]["velocity_error_at_burnout"].get<double>()).epsilon(2e-3));

        const double angle_rad = in["misalignment_deg"].get<double>() * std::numbers::pi / 180.0;
        InertialUnit turned;
        turned.accel = Eigen::AngleAxisd(angle_rad, Eigen::Vector3d::UnitZ()).toRotationMatrix();
        const Eigen::Vector3d error = velocity_error_mps({silent(), Random(1, "none"), turned}, in);
        CHECK(error.y() ==
              Approx(expected["misalignment_0.5deg"]["lateral_velocity_error_at_burnout"].get<double>()).epsilon(2e-3));

        for (const auto& [rail, effect] : expected["clipping_by_rail_m_s2"].items()) {
            INFO(rail);
            SensorNoise noise = silent();
            noise.accel_range_mps2 = std::stod(rail);
            // The converter's steps, and one of them less than the range at its upper end.
            const double steps_mps = noise.accel_range_mps2 / 32768.0 * in["burn_time_s"].get<double>();
            const double lost_mps = effect["velocity_error_at_burnout"];
            CHECK(velocity_error_mps({noise, Random(1, "none")}, in).x() ==
                  Approx(lost_mps).epsilon(1e-3).margin(steps_mps));
            clipped += lost_mps < 0.0;
        }
    }
    CHECK(clipped == 7);
}

TEST_CASE("The steps of a fix's lasting error are the exact discretisation") {
    const nlohmann::json& reference = reference_case("numerics2/gauss_markov.json", "discretisation");
    const auto& rows = reference["inputs"]["rows"];
    REQUIRE(rows.size() == 11);
    for (std::size_t i = 0; i < rows.size(); ++i) {
        INFO(rows[i].dump());
        const LastingStep step = lasting_step(rows[i][1], rows[i][0]);
        const double sigma = rows[i][2];
        const auto& expected = reference["expected"]["rows"][i];
        CHECK(step.keep == Approx(expected[0].get<double>()).epsilon(1e-12));
        CHECK(step.added * sigma * sigma == Approx(expected[1].get<double>()).epsilon(1e-12));
    }
}

TEST_CASE("What is drawn once a flight has unit variance in every shape, and shapes differ in their tails") {
    for (const auto& [shape, worst] :
         {std::pair{Shape::normal, 3.0}, {Shape::uniform, std::sqrt(3.0)}, {Shape::student, 5.0}}) {
        Random random(3, "shape");
        Moments moments;
        for (int i = 0; i < 100000; ++i) moments.add(draw(random, shape));
        CHECK(moments.sum / moments.count == Approx(0.0).margin(0.015));
        CHECK(moments.rms() == Approx(1.0).epsilon(0.02)); // the cut takes about 1 %
        CHECK(moments.worst <= worst);
        CHECK(moments.worst > 0.9 * worst);
    }
}

TEST_CASE("A standing receiver's errors last a minute in the real sets and not in the ideal one") {
    for (const char* name : {"ideal", "tuning", "acceptance"}) {
        INFO(name);
        Scenario scenario = demo_scenario("on-the-rail");
        scenario.errors = *error_set_from_name(name);
        scenario.errors.receiver.datum_m = 0.0;
        const LocalFrame frame(scenario.site.pad);
        Moments east, up;
        double product = 0.0;
        for (std::uint64_t seed = 1; seed <= 60; ++seed) {
            Receiver receiver(scenario, seed);
            TruthSample sample{};
            double before = 0.0;
            for (int i = 0; i < 150; ++i) { // 30 s
                sample.t_s = 0.2 * i;
                const FixReading fix = receiver.read(sample, {});
                const Eigen::Vector3d enu_m = frame.to_enu_m(
                    {fix.latitude_deg, fix.longitude_deg, fix.height_msl_m + scenario.site.geoid_height_m});
                east.add(enu_m.x());
                up.add(enu_m.z());
                if (i > 0) product += before * enu_m.x();
                before = enu_m.x();
            }
        }
        const SensorNoise& noise = scenario.vehicle.sensors;
        const ReceiverErrors& errors = scenario.errors.receiver;
        // 60 flights of which each is little more than one independent draw: 4 / sqrt(2 * 60) of the size.
        CHECK(east.rms() == Approx(errors.size * noise.fix_horizontal_m).epsilon(0.36));
        CHECK(up.rms() == Approx(errors.size * noise.fix_vertical_m).epsilon(0.36));
        CHECK(product / east.square == Approx(errors.correlated_share).margin(0.06));
    }
}

TEST_CASE("The delay of fixes differs from the file's from flight to flight in the real sets") {
    for (const char* name : {"ideal", "tuning", "acceptance"}) {
        INFO(name);
        Scenario scenario = demo_scenario("on-the-rail");
        scenario.errors = *error_set_from_name(name);
        Moments off;
        for (std::uint64_t seed = 1; seed <= 400; ++seed) {
            const FixReading fix = Receiver(scenario, seed).read(TruthSample{}, {});
            CHECK(fix.t_s - fix.t_valid_s > 0.01);
            off.add(fix.t_s - fix.t_valid_s - scenario.vehicle.sensors.fix_delay_s);
        }
        if (scenario.errors.name == "ideal")
            CHECK(off.worst < 1e-9);
        else
            CHECK(off.rms() == Approx(scenario.vehicle.sensors.fix_delay_sigma_s).epsilon(0.5));
    }
}

TEST_CASE("A receiver that lost lock under acceleration comes back with errors that decay") {
    Scenario scenario = demo_scenario("nominal");
    scenario.errors = *error_set_from_name("tuning");
    Moments first, later;
    for (std::uint64_t seed = 1; seed <= 20; ++seed) {
        const SensedFlight flight = fly_sensors(scenario, seed);
        double locked_s = NAN;
        for (const FixReading& fix : flight.sensors.fix) {
            if (!(fix.t_valid_s > flight.truth.events.burnout_s) || fix.fix_dimensions != 3) continue;
            if (std::isnan(locked_s)) locked_s = fix.t_valid_s;
            const auto& truth =
                flight.truth.samples.at(static_cast<std::size_t>(std::lround(fix.t_valid_s / kTruthStep_s)) - 1);
            const double off_mps = (fix.velocity_enu_mps - truth.velocity_enu_mps).norm();
            if (fix.t_valid_s - locked_s < 0.3) first.add(off_mps);
            if (fix.t_valid_s - locked_s > 5.0 && fix.t_valid_s < flight.truth.events.apogee_s) later.add(off_mps);
        }
    }
    REQUIRE(first.count >= 20);
    CHECK(first.rms() > 1.0);
    CHECK(later.rms() < 0.5);
}

TEST_CASE("Fixes are lost above the speed and the height that the airframe's receiver allows") {
    Scenario scenario = demo_scenario("nominal");
    scenario.airframe.fix_lost_above_mps = 60.0;
    scenario.airframe.fix_lost_above_m = 700.0;
    const SensedFlight flight = fly_sensors(scenario, 1);
    int lost = 0;
    for (const FixReading& fix : flight.sensors.fix) {
        const auto& truth =
            flight.truth.samples.at(static_cast<std::size_t>(std::lround(fix.t_valid_s / kTruthStep_s)) - 1);
        if (truth.velocity_enu_mps.norm() <= 60.0 && truth.position_enu_m.z() <= 700.0) continue;
        CHECK(fix.fix_dimensions == 1);
        ++lost;
    }
    CHECK(lost > 30);
}

TEST_CASE("Samples are means over their interval at any rate, and a sensor's own filter delays them") {
    Scenario scenario = demo_scenario("nominal");
    scenario.vehicle.sensors = silent();
    scenario.airframe.vibration_accel_mps2 = 0.0;
    const SensedFlight fine = fly_sensors(scenario, 1);
    scenario.telemetry.imu_hz = 50.0;
    const SensorStream coarse = sense(fine.truth, scenario, 1);
    REQUIRE(coarse.imu.size() == fine.sensors.imu.size() / 4);
    const std::size_t middle = coarse.imu.size() / 2;
    Eigen::Vector3d mean = Eigen::Vector3d::Zero();
    for (std::size_t i = 0; i < 4; ++i) mean += fine.sensors.imu[4 * middle + i].accel_body_mps2 / 4.0;
    CHECK((coarse.imu[middle].accel_body_mps2 - mean).norm() < 1e-9);
    CHECK(coarse.imu[middle].t_s == fine.sensors.imu[4 * middle + 3].t_s);

    scenario.telemetry.imu_hz = 200.0;
    scenario.vehicle.sensors.imu_group_delay_s = 0.02;
    const SensorStream filtered = sense(fine.truth, scenario, 1);
    // A first-order filter's output lags a signal that changes steadily by its time constant: the sums of both differ
    // by that much of the last value.
    double sum = 0.0, filtered_sum = 0.0;
    const double until_s = fine.truth.events.liftoff_s + 0.5;
    double last = 0.0, first = fine.sensors.imu.front().accel_body_mps2.x();
    for (std::size_t i = 0; fine.sensors.imu[i].t_s < until_s; ++i) {
        last = fine.sensors.imu[i].accel_body_mps2.x();
        sum += last * kTruthStep_s;
        filtered_sum += filtered.imu[i].accel_body_mps2.x() * kTruthStep_s;
    }
    CHECK((sum - filtered_sum) / (last - first) == Approx(0.02).margin(0.003));
}

TEST_CASE("Canted fins spin a flight up to the rate asked for") {
    Scenario scenario = demo_scenario("nominal");
    scenario.spin_hz = 10.0;
    const Truth truth = run_truth(make_setup(scenario, 1), RunKind::flight, 0.0, 0.0);
    double fastest_radps = 0.0;
    for (const TruthSample& sample : truth.samples)
        if (sample.t_s < truth.events.apogee_s)
            fastest_radps = std::max(fastest_radps, std::abs(sample.rate_body_radps.x()));
    CHECK(fastest_radps / (2.0 * std::numbers::pi) == Approx(10.0).epsilon(0.25));
    CHECK(truth.events.apogee_m > 700.0);
}
