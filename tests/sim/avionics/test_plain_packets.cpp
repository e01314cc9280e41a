/// Vehicles with other telemetry than the demo's: their packets through the real deframer, dictionary and decoder.
#include <cmath>

#include <nlohmann/json.hpp>

#include "tests/sim/decoded.hpp"
#include "tools/sim/avionics/plain_packets.hpp"

using namespace turnstone;
using namespace turnstone::sim;

namespace {

DecodedStream decode_plain(const FlightResult& flight, const Telemetry& telemetry) {
    std::vector<Problem> problems;
    const Dictionary dictionary = read_dictionary(plain_dictionary(telemetry, "sanderling"), "plain", problems);
    INFO(to_string(problems));
    REQUIRE(problems.empty());
    return decode(flight, dictionary);
}

} // namespace

TEST_CASE("Plain packets carry what the sensors read, at any rate, batched or not, triads together or apart") {
    struct Variant {
        const char* name;
        Telemetry telemetry;
        const char* accel_table; ///< empty: not sent
        const char* rate_table;
    };
    const Variant variants[] = {
        {"single", {.imu_hz = 50.0, .batch = 1}, "accel", "accel"},
        {"in fives", {.imu_hz = 100.0, .pressure_hz = 50.0, .batch = 5}, "accel.samples", "accel.samples"},
        {"apart", {.imu_hz = 50.0, .batch = 1, .triads_apart = true}, "accel", "rates"},
        {"barometer alone",
         {.imu_hz = 0.0, .pressure_hz = 2.0, .fix_hz = 0.0, .lateral = false, .rates = false},
         "",
         ""},
        {"tracker", {.imu_hz = 0.0, .pressure_hz = 0.0, .lateral = false, .rates = false, .velocity = false}, "", ""}};
    for (const Variant& variant : variants) {
        INFO(variant.name);
        Scenario scenario = demo_scenario("nominal");
        scenario.telemetry = variant.telemetry;
        const FlightResult flight = fly(scenario, 1);
        const DecodedStream ground = decode_plain(flight, variant.telemetry);
        CHECK(ground.frames_bad == 0);
        CHECK(ground.packets.size() == flight.sent.packets.size());
        CHECK(ground.rows_out_of_range == 0);
        const auto rows = [&](const char* table) {
            const auto found = ground.tables.find(table);
            return found == ground.tables.end() ? std::vector<DecodedRowCopy>{} : found->second;
        };
        const auto& imu = flight.sensors.imu;
        const std::size_t sent = imu.size() / variant.telemetry.batch * variant.telemetry.batch;
        const auto accel = rows(variant.accel_table), rates = rows(variant.rate_table);
        REQUIRE(accel.size() == sent);
        REQUIRE(rates.size() == sent);
        for (std::size_t i = 0; i < sent; i += 13) {
            CHECK(accel[i].numbers.at("accel_body_x") == Approx(imu[i].accel_body_mps2.x()).epsilon(1e-6));
            CHECK(rates[i].numbers.at("rate_body_z") == Approx(imu[i].rate_body_radps.z()).margin(1e-5));
            const double onboard_s = flight.clock.at_start_s + imu[i].t_s * (1.0 + flight.clock.drift_ppm * 1e-6);
            CHECK(accel[i].onboard_s == Approx(onboard_s).margin(0.0011));
        }
        REQUIRE(rows("baro").size() == flight.sensors.pressure.size());
        for (std::size_t i = 0; i < flight.sensors.pressure.size(); i += 7)
            CHECK(rows("baro")[i].numbers.at("static_pressure") == flight.sensors.pressure[i].pressure_pa);
        const auto fixes = rows("fix");
        CHECK(fixes.size() + 2 >= flight.sensors.fix.size()); // the last ones are handed over after the run
        for (std::size_t i = 0; i < fixes.size(); i += 11) {
            CHECK(fixes[i].numbers.at("latitude") == flight.sensors.fix[i].latitude_deg);
            CHECK(fixes[i].numbers.at("height_msl") == Approx(flight.sensors.fix[i].height_msl_m).epsilon(1e-6));
            if (variant.telemetry.velocity)
                CHECK(fixes[i].numbers.at("fix_accuracy_speed") ==
                      Approx(flight.sensors.fix[i].accuracy_speed_mps).epsilon(1e-6));
        }
    }
}

TEST_CASE("Inertial samples are dated at the end, middle or start of their interval, as the vehicle's file says") {
    const std::pair<SampleTime, double> meanings[] = {
        {SampleTime::end, 0.0}, {SampleTime::middle, 0.01}, {SampleTime::start, 0.02}};
    for (const auto& [meaning, back_s] : meanings) {
        Scenario scenario = demo_scenario("on-the-rail");
        scenario.telemetry = {.imu_hz = 50.0, .batch = 1};
        scenario.vehicle.sensors.imu_sample_time = meaning;
        const FlightResult flight = fly(scenario, 1);
        const auto accel = decode_plain(flight, scenario.telemetry).tables.at("accel");
        const double onboard_s =
            flight.clock.at_start_s + (flight.sensors.imu[500].t_s - back_s) * (1.0 + flight.clock.drift_ppm * 1e-6);
        CHECK(accel[500].onboard_s == Approx(onboard_s).margin(0.0011));
    }
}
