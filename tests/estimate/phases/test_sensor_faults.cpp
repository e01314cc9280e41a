// Sensors that fail in flight, each way for barometer and accelerometer: announced by its name, and flight events are
// still found with the rest. And what a link does to samples: duplicates, old ones, holes. Truth: flight_harness.hpp.
#include <functional>

#include <catch2/catch.hpp>

#include "tests/estimate/chain/flight_harness.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using namespace turnstone::test;

namespace {

bool raised(const Collector& out, EventId alert, const std::string& role) {
    for (const EstimateEvent& event : out.events)
        if (event.id == alert && event.about == role && !event.cleared) return true;
    return false;
}

struct Fault {
    const char* name;
    EventId alert;
    double from_liftoff_s;
    std::function<void(sim::PressureReading&, double)> barometer; ///< second: a value drawn before the fault began
    std::function<void(sim::ImuReading&, const Eigen::Vector3d&)> accelerometer;
};

const std::vector<EventId> kAll{EventId::liftoff,    EventId::burnout,  EventId::apogee,
                                EventId::drogue_out, EventId::main_out, EventId::touchdown};

} // namespace

TEST_CASE("a failed sensor is announced and the flight continues with the other one") {
    const double nan = std::nan("");
    const std::vector<Fault> faults{
        {"barometer is frozen", EventId::sensor_frozen, 5.0, [](auto& r, double held) { r.pressure_pa = held; }, {}},
        {"barometer is frozen from the pad on",
         EventId::sensor_frozen,
         -6.0,
         [](auto& r, double held) { r.pressure_pa = held; },
         {}},
        {"barometer shows nothing at all",
         EventId::sensor_out_of_range,
         5.0,
         [](auto& r, double) { r.pressure_pa = 0.0; },
         {}},
        {"barometer shows too much",
         EventId::sensor_out_of_range,
         5.0,
         [](auto& r, double) { r.pressure_pa = 250000.0; },
         {}},
        {"barometer stuck within its noise",
         EventId::barometer_stuck,
         3.0,
         [](auto& r, double held) { r.pressure_pa = held + std::fmod(r.t_s * 7919.0, 11.0) - 5.0; },
         {}},
        {"barometer sends no number", EventId::sensor_silent, 5.0, [nan](auto& r, double) { r.pressure_pa = nan; }, {}},
        {"accelerometer is frozen",
         EventId::sensor_frozen,
         5.0,
         {},
         [](auto& r, const auto& held) { r.accel_body_mps2 = held; }},
        {"accelerometer is frozen from the pad on",
         EventId::sensor_frozen,
         -6.0,
         {},
         [](auto& r, const auto& held) { r.accel_body_mps2 = held; }},
        {"accelerometer shows too much",
         EventId::sensor_out_of_range,
         5.0,
         {},
         [](auto& r, const auto&) { r.accel_body_mps2.setConstant(500.0); }},
        {"accelerometer sends no number",
         EventId::sensor_silent,
         5.0,
         {},
         [nan](auto& r, const auto&) { r.accel_body_mps2.setConstant(nan); }},
    };
    for (const Fault& fault : faults) {
        INFO(fault.name);
        Flight flight = make_flight("nominal", 12, true);
        const auto truth = true_moments(flight.truth);
        const double from_s = truth.at(EventId::liftoff) + fault.from_liftoff_s;
        double pressure_pa = 0.0;
        Eigen::Vector3d accel(0, 0, 0);
        for (auto& reading : flight.sensors.pressure)
            if (reading.t_s < from_s)
                pressure_pa = reading.pressure_pa;
            else if (fault.barometer)
                fault.barometer(reading, pressure_pa);
        for (auto& reading : flight.sensors.imu)
            if (reading.t_s < from_s)
                accel = reading.accel_body_mps2;
            else if (fault.accelerometer)
                fault.accelerometer(reading, accel);
        LoneFlight state(flight.scenario.vehicle, flight.scenario.site, true, true);
        Collector out;
        fly(flight, {}, 12, state, out);
        const bool of_barometer = fault.barometer && fault.alert != EventId::barometer_stuck;
        CHECK(raised(out, fault.alert, of_barometer ? "static_pressure" : fault.barometer ? "" : "accel_body_x"));
        int liftoffs = 0;
        for (const Transition& found : state.phases().transitions()) liftoffs += found.event == EventId::liftoff;
        CHECK(liftoffs == 1);
        for (const EventId moment : kAll) {
            INFO(word(moment));
            const auto found = state.phases().time_of(moment);
            REQUIRE(found);
            const double error_s = seconds_between(kRunStart_ns, *found) - truth.at(moment);
            INFO("error " << error_s << " s");
            CHECK(std::fabs(error_s) < (moment == EventId::touchdown ? 2.0 : 1.0));
        }
    }
}

TEST_CASE("duplicates, old samples and samples without a number change nothing") {
    const Flight flight = make_flight("nominal", 13, true);
    const auto run = [&](bool disturbed) {
        LoneFlight state(flight.scenario.vehicle, flight.scenario.site, true, true);
        Collector out;
        std::size_t p = 0;
        std::size_t n = 0;
        for (const sim::ImuReading& reading : flight.sensors.imu) {
            const std::int64_t t_ns = kRunStart_ns + seconds_to_ns(reading.t_s);
            const ImuSample sample{t_ns, reading.accel_body_mps2, reading.rate_body_radps};
            state.imu(sample, out);
            if (disturbed) {
                ImuSample other = sample;
                state.imu(other, out);
                other.accel_body_mps2.setConstant(120.0);
                other.t_ns -= 50'000'000;
                state.imu(other, out);
                other.t_ns = t_ns + 1'000'000;
                other.accel_body_mps2.setConstant(kNaN);
                state.imu(other, out);
            }
            if (p < flight.sensors.pressure.size() && flight.sensors.pressure[p].t_s <= reading.t_s) {
                const PressureSample height{t_ns, flight.sensors.pressure[p].pressure_pa,
                                            flight.sensors.pressure[p].temperature_k};
                state.pressure(height, out);
                if (disturbed) {
                    state.pressure(height, out);
                    state.pressure({t_ns - 100'000'000, 50000.0, kNaN}, out);
                    state.pressure({t_ns + 1'000'000, kNaN, kNaN}, out);
                }
                ++p;
            }
            if (++n % 20 == 0) state.tick(t_ns, out);
        }
        return std::pair(state.estimates(), out.events);
    };
    const auto plain = run(false);
    const auto disturbed = run(true);
    CHECK(plain.first.size() > 10'000);
    CHECK(differences(plain.first, disturbed.first) == 0);
    REQUIRE(plain.second.size() == disturbed.second.size());
    for (std::size_t i = 0; i < plain.second.size(); ++i) CHECK(plain.second[i].id == disturbed.second[i].id);
}
