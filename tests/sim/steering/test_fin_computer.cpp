// Fins that steer: what a deflection does, how the drive gets there, and what the computer commands.
#include <catch2/catch.hpp>

#include <cmath>

#include <nlohmann/json.hpp>

#include "tests/support/tree.hpp"
#include "tools/sim/avionics/plain_packets.hpp"
#include "tools/sim/fly.hpp"
#include "tools/sim/steering/fin_computer.hpp"

using namespace turnstone;
using namespace turnstone::sim;

namespace {

Scenario steerable() {
    auto made = make_scenario("nominal", test::demo_path("dunlin"), test::demo_path("site.json"));
    REQUIRE(made);
    REQUIRE(made->airframe.fins);
    return *made;
}

} // namespace

TEST_CASE("a drive waits, lags, and goes no faster and no further than it can") {
    FinDrive drive{.roll_effect_m = 1,
                   .pitch_effect_m = 1,
                   .arm_m = 1,
                   .limit_rad = 0.1,
                   .rate_limit_radps = 2,
                   .lag_s = 0.02,
                   .delay_s = 0.03,
                   .noise_rad = 0};
    Fins fins(drive);
    fins.command(0, {0.5, -0.01, 0});
    double fastest = 0, first_s = -1, before = 0;
    for (int i = 0; i < 400; ++i) {
        fins.advance(0.001 * i, 0.001);
        const double now = fins.deflection_rad().x();
        fastest = std::max(fastest, (now - before) / 0.001);
        if (first_s < 0 && now > 0) first_s = 0.001 * i;
        before = now;
    }
    CHECK(first_s == Approx(0.03).margin(0.0015));
    CHECK(fastest == Approx(2).epsilon(1e-6));
    CHECK(fins.deflection_rad().x() == Approx(0.1).epsilon(1e-3));
    CHECK(fins.deflection_rad().y() == Approx(-0.01).epsilon(1e-3));
    CHECK(fins.commanded_rad().x() == 0.5);
}

TEST_CASE("without steering a flight is the same whether its airframe's fins turn or not") {
    Scenario scenario = steerable();
    const Truth with = fly_sensors(scenario, 4).truth;
    scenario.airframe.fins.reset();
    const Truth without = fly_sensors(scenario, 4).truth;
    CHECK(with.events.apogee_m == without.events.apogee_m);
    CHECK(with.samples.back().position_enu_m == without.samples.back().position_enu_m);
}

TEST_CASE("a held roll deflection ends at the rate where damping balances it") {
    Scenario scenario = steerable();
    scenario.airframe.roll_cant_m = 0;
    scenario.steering = Steering{{{2.5, 4.0, 0, 0.05}}, {}};
    const Truth truth = fly_sensors(scenario, 5).truth;
    const FinDrive& drive = *scenario.airframe.fins;
    for (const TruthSample& sample : truth.samples) {
        if (sample.phase != TruePhase::coasting || sample.t_s < scenario.before_ignition_s + 5.0) continue;
        if (sample.t_s > scenario.before_ignition_s + 6.3) break;
        // rho V S / 2 (effect V delta - damping p) = 0; it slows down, so that p is a little above.
        const double airspeed = (sample.velocity_enu_mps - sample.wind_enu_mps).norm();
        const double balance = drive.roll_effect_m * airspeed * sample.fin_rad.x() / scenario.airframe.roll_damping_m2;
        CHECK(sample.fin_rad.x() == Approx(0.05).epsilon(1e-3));
        CHECK(sample.rate_body_radps.x() == Approx(balance).epsilon(0.12));
        CHECK(sample.rate_body_radps.x() > 0);
    }
}

TEST_CASE("a logging flight moves each axis and leaves the fins alone on the rail and under parachutes") {
    Scenario scenario = steerable();
    scenario.telemetry.fins_hz = kFinsRate_hz;
    scenario.steering = logging_flight(scenario.vehicle.rocket->burn_time_s());
    const SensedFlight flight = fly_sensors(scenario, 6);
    Eigen::Vector3d most = Eigen::Vector3d::Zero();
    for (const TruthSample& sample : flight.truth.samples) {
        most = most.cwiseMax(sample.fin_rad.cwiseAbs());
        if (sample.phase == TruePhase::on_the_rail || sample.phase == TruePhase::under_main)
            CHECK(sample.fin_command_rad.norm() == 0);
    }
    CHECK(most.x() > 0.045);
    CHECK(most.y() > 0.025);
    CHECK(most.z() > 0.025);
    CHECK(flight.sensors.fins.size() == flight.truth.samples.size() / 2);
}

TEST_CASE("a law that cannot be read stops the scenario with its places") {
    Scenario scenario = steerable();
    scenario.steering = Steering{{}, {{"form", "pid"}, {"state", "roll_radps"}}};
    CHECK_THROWS_WITH(fly_sensors(scenario, 7), Catch::Contains("/gains") && Catch::Contains("/limit_rad"));
}

TEST_CASE("the dictionary of the demo vehicle that steers says what the simulator sends") {
    Telemetry telemetry;
    telemetry.fins_hz = kFinsRate_hz;
    nlohmann::json expected = plain_dictionary(telemetry, "dunlin");
    nlohmann::json written = nlohmann::json::parse(test::read_file(test::demo_path("dunlin/dictionary.json")));
    written.erase("$schema");
    expected["title"] = "Dunlin";
    CHECK(written == expected);
}
