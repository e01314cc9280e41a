/// Each scenario does what its name says, seen both in the truth and in what the ground decodes.
#include <algorithm>
#include <cmath>
#include <set>

#include "tests/sim/decoded.hpp"

using namespace turnstone;
using namespace turnstone::sim;

namespace {

/// Mean descent rate between two heights above the pad.
double descent_rate_mps(const Truth& truth, double upper_m, double lower_m) {
    double upper_s = 0.0, lower_s = 0.0;
    for (const TruthSample& sample : truth.samples) {
        if (sample.t_s > truth.events.apogee_s && upper_s == 0.0 && sample.position_enu_m.z() < upper_m)
            upper_s = sample.t_s;
        if (sample.t_s > truth.events.apogee_s && lower_s == 0.0 && sample.position_enu_m.z() < lower_m)
            lower_s = sample.t_s;
    }
    return (upper_m - lower_m) / (lower_s - upper_s);
}

std::vector<double> column(const DecodedStream& stream, const std::string& table, const std::string& name) {
    std::vector<double> values;
    for (const DecodedRowCopy& row : stream.tables.at(table)) values.push_back(row.numbers.at(name));
    return values;
}

} // namespace

TEST_CASE("The nominal flight is that of a small, safe rocket") {
    const Scenario scenario = demo_scenario("nominal");
    const FlightResult flight = fly(scenario, 1);
    const FlightEvents& events = flight.truth.events;
    const RocketModel& rocket = *scenario.vehicle.rocket;
    const double weight_n = 9.8 * (rocket.mass_dry_kg + rocket.mass_propellant_kg);
    // Least thrust-to-weight ratio and speed off the rail of high-power rocketry practice (NFPA 1127 asks for
    // stable flight; clubs ask for 5:1 and 15 m/s).
    CHECK(*std::max_element(rocket.thrust_n.y.begin(), rocket.thrust_n.y.end()) / weight_n > 5.0);
    CHECK(events.rail_exit_speed_mps > 15.0);
    CHECK(events.apogee_m > 900.0);
    CHECK(events.apogee_m < 1150.0);
    CHECK(events.liftoff_s == Approx(scenario.before_ignition_s).margin(0.02));
    CHECK(events.axial_zero_s < events.burnout_s);
    CHECK(events.axial_zero_s > events.burnout_s - 0.1);
    REQUIRE(events.ejections.size() == 2);
    CHECK(events.ejections[0].t_s == Approx(events.apogee_s + 0.5).margin(0.01));
    // Terminal speed sqrt(2 m g / (rho CdA)) at the heights in question, pad air 1.03 kg/m3.
    CHECK(descent_rate_mps(flight.truth, 800.0, 300.0) == Approx(22.8).margin(1.5));
    CHECK(descent_rate_mps(flight.truth, 120.0, 20.0) == Approx(5.8).margin(0.4));
    CHECK_FALSE(flight.truth.destroyed);
    CHECK(flight.truth.samples.back().t_s == Approx(events.touchdown_s + scenario.after_touchdown_s).margin(0.01));
}

TEST_CASE("What the ground decodes is what the sensors read, within quantisation") {
    const Scenario scenario = demo_scenario("nominal");
    const FlightResult flight = fly(scenario, 2);
    const DecodedStream ground = decode(flight);
    CHECK(ground.frames_bad == 0);
    CHECK(ground.packets.size() == flight.sent.packets.size());
    const auto& samples = ground.tables.at("imu.samples");
    REQUIRE(samples.size() == flight.sensors.imu.size() / 4 * 4);
    double worst_accel = 0.0, worst_rate = 0.0, worst_time_s = 0.0;
    for (std::size_t i = 0; i < samples.size(); ++i) {
        const ImuReading& reading = flight.sensors.imu[i];
        worst_accel =
            std::max(worst_accel, std::abs(samples[i].numbers.at("accel_body_y") - reading.accel_body_mps2.y()));
        worst_rate = std::max(worst_rate, std::abs(samples[i].numbers.at("rate_body_z") - reading.rate_body_radps.z()));
        const double onboard_s = flight.clock.at_start_s + reading.t_s * (1.0 + flight.clock.drift_ppm * 1e-6);
        worst_time_s = std::max(worst_time_s, std::abs(samples[i].onboard_s - onboard_s));
    }
    CHECK(worst_accel <= 0.0025 + 1e-9);
    CHECK(worst_rate <= 0.00055 + 1e-9);
    CHECK(worst_time_s <= 0.00101); // the counter counts whole milliseconds
    const auto& pressures = ground.tables.at("baro");
    REQUIRE(pressures.size() == flight.sensors.pressure.size());
    for (std::size_t i = 0; i < pressures.size(); i += 97) {
        CHECK(pressures[i].numbers.at("static_pressure") ==
              Approx(flight.sensors.pressure[i].pressure_pa).margin(0.0051));
    }
}

TEST_CASE("The vehicle's own estimate follows the flight") {
    const FlightResult flight = fly(demo_scenario("nominal"), 3);
    const DecodedStream ground = decode(flight);
    const std::vector<double> altitude = column(ground, "nav", "onboard_altitude");
    // The on-board formula knows nothing of the day's temperature: a few per cent.
    CHECK(*std::max_element(altitude.begin(), altitude.end()) == Approx(flight.truth.events.apogee_m).epsilon(0.06));
    CHECK(std::abs(altitude.back()) < 15.0);
    const std::vector<double> phase = column(ground, "nav", "onboard_phase");
    CHECK(std::is_sorted(phase.begin(), phase.end()));
    // waiting, flying up, flying down, down: each once, in order.
    CHECK(std::set<double>(phase.begin(), phase.end()) == std::set<double>{0.0, 1.0, 2.0, 3.0});
    // Before liftoff its attitude is level with the rail within accelerometer bias, about 0.3/9.8 rad per
    // axis.
    const DecodedRowCopy& pad = ground.tables.at("nav").at(150);
    const Eigen::Quaterniond q(pad.numbers.at("onboard_q_0"), pad.numbers.at("onboard_q_1"),
                               pad.numbers.at("onboard_q_2"), pad.numbers.at("onboard_q_3"));
    const Eigen::Vector3d nose = flight.truth.samples.front().q_local_body * Eigen::Vector3d::UnitX();
    CHECK(std::acos(std::min(1.0, (q.normalized() * Eigen::Vector3d::UnitX()).dot(nose))) < 0.15);
}

TEST_CASE("Scatter spreads flights, and every one of them is plausible") {
    Scenario scenario = demo_scenario("nominal");
    scenario.disperse = true;
    double sum = 0.0, sum_square = 0.0;
    const int flights = 40;
    for (std::uint64_t seed = 1; seed <= flights; ++seed) {
        INFO("seed " << seed);
        const Truth truth = run_truth(make_setup(scenario, seed), scenario.kind, 2.0, 0.0);
        CHECK(truth.events.apogee_m > 850.0);
        CHECK(truth.events.apogee_m < 1300.0);
        CHECK(truth.events.rail_exit_speed_mps > 15.0);
        CHECK(truth.events.ejections.size() == 2);
        CHECK(truth.events.touchdown_speed_mps < 12.0);
        CHECK_FALSE(truth.destroyed);
        sum += truth.events.apogee_m;
        sum_square += truth.events.apogee_m * truth.events.apogee_m;
    }
    const double mean = sum / flights;
    const double sigma = std::sqrt(sum_square / flights - mean * mean);
    CHECK(sigma > 15.0);
    CHECK(sigma < 90.0);
}

TEST_CASE("A late drogue opens in a dive") {
    const Truth truth = fly_sensors(demo_scenario("late-drogue"), 1).truth;
    REQUIRE(truth.events.ejections.size() == 2);
    CHECK(truth.events.ejections[0].t_s == Approx(truth.events.apogee_s + 6.5).margin(0.01));
    const auto at = std::find_if(truth.samples.begin(), truth.samples.end(),
                                 [&](const TruthSample& s) { return s.t_s > truth.events.ejections[0].t_s; });
    CHECK(at->velocity_enu_mps.z() < -45.0);
    CHECK_FALSE(truth.destroyed);
}

TEST_CASE("Without parachutes the vehicle dives in and telemetry ends at impact") {
    const FlightResult flight = fly(demo_scenario("ballistic"), 1);
    CHECK(flight.truth.events.ejections.empty());
    CHECK(flight.truth.events.touchdown_speed_mps > 70.0);
    CHECK(flight.truth.destroyed);
    CHECK(flight.sent.packets.back().t_made_s <= flight.truth.events.touchdown_s + 0.001);
    const Eigen::Vector3d nose = flight.truth.samples.back().q_local_body * Eigen::Vector3d::UnitX();
    CHECK(nose.z() < -0.9);
}

TEST_CASE("A reboot at ejection leaves a gap, a clock that restarts and one more boot") {
    const Scenario scenario = demo_scenario("reboot-at-ejection");
    const FlightResult flight = fly(scenario, 1);
    const double ejection_s = flight.truth.events.ejections.at(0).t_s;
    double gap_s = 0.0, previous_s = 0.0;
    for (const SentPacket& packet : flight.sent.packets) {
        gap_s = std::max(gap_s, packet.t_made_s - previous_s);
        previous_s = packet.t_made_s;
        if (packet.t_made_s > ejection_s + scenario.boot_s + 0.1) {
            CHECK(packet.onboard_ms < 120000U);
            break;
        }
    }
    CHECK(gap_s == Approx(scenario.boot_s).margin(0.05));
    const DecodedStream ground = decode(flight);
    const std::vector<double> boots = column(ground, "health", "boot_count");
    CHECK(boots.back() == boots.front() + 1.0);
    const std::vector<double> phase = column(ground, "nav", "onboard_phase");
    CHECK(phase.back() == 3.0);
    CHECK(std::count(phase.begin(), phase.end(), 0.0) < 205); // the phase survives in memory: it does not wait again
}

TEST_CASE("After loss of GNSS there is no fix from liftoff until after touchdown") {
    const SensedFlight flight = fly_sensors(demo_scenario("gnss-loss"), 1);
    int on_rail = 0, in_flight = 0, afterwards = 0;
    for (const FixReading& fix : flight.sensors.fix) {
        const bool good = fix.fix_dimensions == 3;
        if (fix.t_valid_s < flight.truth.events.liftoff_s)
            on_rail += good ? 1 : 0;
        else if (fix.t_valid_s < flight.truth.events.touchdown_s)
            in_flight += good ? 1 : 0;
        else
            afterwards += good ? 1 : 0;
    }
    CHECK(on_rail >= 99);
    CHECK(in_flight == 0);
    CHECK(afterwards > 20);
}

TEST_CASE("A failed barometer repeats its last value from the ejection on") {
    const SensedFlight flight = fly_sensors(demo_scenario("barometer-failure"), 1);
    const double ejection_s = flight.truth.events.ejections.at(0).t_s;
    double last_alive = 0.0;
    int dead = 0;
    for (const PressureReading& reading : flight.sensors.pressure) {
        if (reading.t_s <= ejection_s) {
            last_alive = reading.pressure_pa;
        } else {
            CHECK(reading.pressure_pa == last_alive);
            ++dead;
        }
    }
    CHECK(dead > 1000);
}

TEST_CASE("The separation test shows shock, pulse and open igniters without a flight") {
    const FlightResult flight = fly(demo_scenario("separation-test"), 1);
    REQUIRE(flight.truth.events.ejections.size() == 2);
    const double charge_s = flight.truth.events.ejections[0].t_s;
    double greatest_force = 0.0, greatest_pressure = 0.0, quiet_pressure = 0.0, farthest_m = 0.0;
    for (const ImuReading& reading : flight.sensors.imu)
        if (std::abs(reading.t_s - charge_s) < 0.3)
            greatest_force = std::max(greatest_force, std::abs(reading.accel_body_mps2.x()));
    for (const PressureReading& reading : flight.sensors.pressure) {
        (reading.t_s < charge_s ? quiet_pressure : greatest_pressure) =
            std::max(reading.t_s < charge_s ? quiet_pressure : greatest_pressure, reading.pressure_pa);
    }
    for (const TruthSample& sample : flight.truth.samples)
        farthest_m = std::max(farthest_m, sample.position_enu_m.norm());
    CHECK(greatest_force > 60.0);
    CHECK(greatest_pressure > quiet_pressure + 1000.0);
    CHECK(farthest_m > 0.01);
    CHECK(farthest_m < 0.5);
    CHECK(std::isnan(flight.truth.events.liftoff_s));
    const DecodedStream ground = decode(flight);
    CHECK(column(ground, "health", "continuity_drogue").front() == 1.0);
    CHECK(column(ground, "health", "continuity_drogue").back() == 0.0);
    CHECK(column(ground, "health", "continuity_main").back() == 0.0);
    const std::vector<double> phase = column(ground, "nav", "onboard_phase");
    CHECK(*std::max_element(phase.begin(), phase.end()) == 0.0);
}

TEST_CASE("On the rail nothing happens, within sensor noise") {
    const Scenario scenario = demo_scenario("on-the-rail");
    const FlightResult flight = fly(scenario, 1);
    CHECK(std::isnan(flight.truth.events.liftoff_s));
    CHECK(flight.truth.samples.back().t_s ==
          Approx(scenario.before_ignition_s + scenario.after_touchdown_s).margin(0.01));
    for (const TruthSample& sample : flight.truth.samples) {
        REQUIRE(sample.position_enu_m.norm() == 0.0);
        REQUIRE(sample.specific_force_body_mps2.norm() == Approx(9.7842).margin(0.003)); // normal gravity there
    }
    CHECK(decode(flight).rows_out_of_range == 0);
}

TEST_CASE("An unknown scenario and a wrong folder are explained") {
    const auto unknown = make_scenario("hop", demo_path("sanderling"), demo_path("site.json"));
    REQUIRE_FALSE(unknown);
    CHECK(unknown.error().message.find("hop") != std::string::npos);
    CHECK(unknown.error().message.find("--list-scenarios") != std::string::npos);
    const auto missing = make_scenario("nominal", demo_path("nowhere"), demo_path("site.json"));
    REQUIRE_FALSE(missing);
    CHECK(missing.error().message.find("vehicle.json") != std::string::npos);
}

TEST_CASE("The same seed gives the same bits, another seed another flight") {
    Scenario scenario = demo_scenario("nominal");
    scenario.disperse = true;
    scenario.impairment = impairment_from_name("rough").value();
    const FlightResult first = fly(scenario, 11);
    const FlightResult again = fly(scenario, 11);
    const FlightResult other = fly(scenario, 12);
    CHECK(first.sent.bytes == again.sent.bytes);
    CHECK(first.received.bytes == again.received.bytes);
    CHECK(first.truth.events.apogee_s == again.truth.events.apogee_s);
    CHECK(first.sent.bytes != other.sent.bytes);
    // Impairment draws from its own stream: it does not change what was sent.
    scenario.impairment = {};
    CHECK(fly(scenario, 11).sent.bytes == first.sent.bytes);
}
