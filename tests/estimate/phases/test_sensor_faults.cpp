// Sensors that fail in flight, each way for barometer and accelerometer: announced by its name, and the flight's
// moments still found with what is left. And what a link does to samples: copies, old ones, holes. Truth:
// flight_harness.hpp.
#include <functional>

#include <catch2/catch.hpp>

#include "tests/estimate/chain/flight_harness.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

bool raised(const Collector& out, const std::string& key) {
    for (const EstimateEvent& event : out.events)
        if (event.kind == EventKind::alert_raised && event.key == key) return true;
    return false;
}

struct Fault {
    const char* name;
    const char* alert; ///< key; empty: none expected
    double from_liftoff_s;
    std::function<void(sim::PressureReading&, double)> barometer; ///< second: a value drawn before the fault began
    std::function<void(sim::ImuReading&, const Eigen::Vector3d&)> accelerometer;
};

const std::vector<EventId> kAll{EventId::liftoff,    EventId::burnout,  EventId::apogee,
                                EventId::drogue_out, EventId::main_out, EventId::touchdown};

} // namespace

TEST_CASE("a sensor that fails is announced and the flight goes on with the other one") {
    const double nan = std::nan("");
    const std::vector<Fault> faults{
        {"barometer repeats one value",
         "sensor/static_pressure/frozen",
         5.0,
         [](auto& r, double held) { r.pressure_pa = held; },
         {}},
        {"barometer repeats one value from the pad on",
         "sensor/static_pressure/frozen",
         -6.0,
         [](auto& r, double held) { r.pressure_pa = held; },
         {}},
        {"barometer shows nothing at all",
         "sensor/static_pressure/out_of_range",
         5.0,
         [](auto& r, double) { r.pressure_pa = 0.0; },
         {}},
        {"barometer shows too much",
         "sensor/static_pressure/out_of_range",
         5.0,
         [](auto& r, double) { r.pressure_pa = 250000.0; },
         {}},
        {"barometer stuck within its noise",
         "sensor/static_pressure/stuck",
         3.0,
         [](auto& r, double held) { r.pressure_pa = held + std::fmod(r.t_s * 7919.0, 11.0) - 5.0; },
         {}},
        {"barometer sends no number",
         "sensor/static_pressure/silent",
         5.0,
         [nan](auto& r, double) { r.pressure_pa = nan; },
         {}},
        {"accelerometer repeats one value",
         "sensor/accel_body_x/frozen",
         5.0,
         {},
         [](auto& r, const auto& held) { r.accel_body_mps2 = held; }},
        {"accelerometer repeats one value from the pad on",
         "sensor/accel_body_x/frozen",
         -6.0,
         {},
         [](auto& r, const auto& held) { r.accel_body_mps2 = held; }},
        {"accelerometer shows too much",
         "sensor/accel_body_x/out_of_range",
         5.0,
         {},
         [](auto& r, const auto&) { r.accel_body_mps2.setConstant(500.0); }},
        {"accelerometer sends no number",
         "sensor/accel_body_x/silent",
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
        std::vector<EstimateTable> tables;
        FlightState state(flight.scenario.vehicle, flight.scenario.site, true, true, tables);
        Collector out;
        fly(flight, {}, 12, state, out);
        CHECK(raised(out, fault.alert));
        int liftoffs = 0;
        for (const Transition& found : state.phases().events()) liftoffs += found.event == EventId::liftoff;
        CHECK(liftoffs == 1);
        for (const EventId moment : kAll) {
            INFO(moment_key(moment));
            const auto found = state.phases().time_of(moment);
            REQUIRE(found);
            const double error_s = seconds_between(kRunStart_ns, *found) - truth.at(moment);
            INFO("error " << error_s << " s");
            CHECK(std::fabs(error_s) < (moment == EventId::touchdown ? 2.0 : 1.0));
        }
    }
}

TEST_CASE("copies, old samples and samples without a number change nothing") {
    const Flight flight = make_flight("nominal", 13, true);
    const auto run = [&](bool disturbed) {
        std::vector<EstimateTable> tables;
        FlightState state(flight.scenario.vehicle, flight.scenario.site, true, true, tables);
        Collector out;
        std::size_t p = 0;
        std::size_t n = 0;
        for (const sim::ImuReading& reading : flight.sensors.imu) {
            const std::int64_t t_ns = kRunStart_ns + seconds_to_ns(reading.t_s);
            const ImuSample sample{t_ns, reading.accel_body_mps2, reading.rate_body_radps};
            state.imu(sample, std::nullopt, out);
            if (disturbed) {
                ImuSample other = sample;
                state.imu(other, std::nullopt, out);
                other.accel_body_mps2.setConstant(120.0);
                other.t_ns -= 50'000'000;
                state.imu(other, std::nullopt, out);
                other.t_ns = t_ns + 1'000'000;
                other.accel_body_mps2.setConstant(kNaN);
                state.imu(other, std::nullopt, out);
            }
            if (p < flight.sensors.pressure.size() && flight.sensors.pressure[p].t_s <= reading.t_s) {
                const PressureSample height{t_ns, flight.sensors.pressure[p].pressure_pa,
                                            flight.sensors.pressure[p].temperature_k};
                state.pressure(height, kNaN, kNaN, out);
                if (disturbed) {
                    state.pressure(height, kNaN, kNaN, out);
                    state.pressure({t_ns - 100'000'000, 50000.0, kNaN}, kNaN, kNaN, out);
                    state.pressure({t_ns + 1'000'000, kNaN, kNaN}, kNaN, kNaN, out);
                }
                ++p;
            }
            if (++n % 20 == 0) state.tick(t_ns, out);
        }
        return out;
    };
    const Collector plain = run(false);
    const Collector disturbed = run(true);
    REQUIRE(plain.rows.size() == disturbed.rows.size());
    REQUIRE(plain.events.size() == disturbed.events.size());
    int different = 0;
    for (std::size_t i = 0; i < plain.rows.size(); ++i) {
        const auto& a = plain.rows[i].values;
        const auto& b = disturbed.rows[i].values;
        for (std::size_t k = 0; k < a.size(); ++k)
            different += !(a[k] == b[k] || (std::isnan(a[k]) && std::isnan(b[k])));
    }
    for (std::size_t i = 0; i < plain.events.size(); ++i) different += plain.events[i].key != disturbed.events[i].key;
    CHECK(different == 0);
}
