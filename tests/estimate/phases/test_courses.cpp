// Flights that do not end as they should, and more than one flight in a recording: silence at the ground and high above
// it, a signal reacquired, a vehicle carried back and flown again. Truth is the simulator's (see flight_harness.hpp).
#include <catch2/catch.hpp>

#include "tests/estimate/chain/flight_harness.hpp"
#include "tools/sim/avionics/handling.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using namespace turnstone::test;

namespace {

struct Run {
    explicit Run(const Flight& flight, bool inertial = true, bool pressure = true)
        : state(flight.scenario.vehicle, flight.scenario.site, inertial, pressure) {}
    LoneFlight state;
    Collector out;

    void wait(double from_s, double to_s) {
        for (double t_s = from_s; t_s < to_s; t_s += 0.1) state.tick(kRunStart_ns + seconds_to_ns(t_s), out);
    }
    [[nodiscard]] const Transition* found(EventId moment) const {
        for (const Transition& m : state.phases().transitions())
            if (m.event == moment) return &m;
        return nullptr;
    }
};

bool says_near_ground(const EstimateEvent& event) {
    for (const EventValue& value : event.values)
        if (value.name == "near_ground") return std::get<bool>(value.value);
    throw std::runtime_error("no near_ground");
}

double time_s(const Transition& found) {
    return seconds_between(kRunStart_ns, found.t_ns);
}

/// Nothing is received between the two times.
void silence(Flight& flight, double from_s, double to_s) {
    const auto inside = [&](const auto& reading) { return reading.t_s > from_s && reading.t_s < to_s; };
    std::erase_if(flight.sensors.imu, inside);
    std::erase_if(flight.sensors.pressure, inside);
}

double height_at(const sim::Truth& truth, double t_s) {
    double height_m = 0.0;
    for (const auto& s : truth.samples)
        if (s.t_s <= t_s) height_m = s.position_enu_m.z();
    return height_m;
}

} // namespace

TEST_CASE("telemetry that ends at the impact means an expected impact, not an endless descent") {
    for (const bool inertial : {true, false}) {
        for (const std::uint64_t seed : {1, 2, 3}) {
            const Flight flight = make_flight("ballistic", seed, true);
            INFO("seed " << seed << (inertial ? "" : ", barometer only"));
            Run run(flight, inertial);
            fly(flight, {.inertial = inertial}, seed, run.state, run.out);
            const double end_s = flight.truth.events.touchdown_s;
            CHECK(run.state.phases().phase() == Phase::falling);
            run.wait(end_s + 1.0, end_s + 12.0);
            CHECK(run.state.phases().phase() == Phase::presumed_down);
            const Transition* impact = run.found(EventId::signal_lost);
            REQUIRE(impact);
            const double error_s = time_s(*impact) - end_s;
            INFO("error " << error_s << " s, sigma " << impact->t_sigma_s << " s");
            CHECK(std::fabs(error_s) < 0.5);
            CHECK(std::fabs(error_s) < 3.0 * impact->t_sigma_s);
            CHECK(!run.found(EventId::touchdown));
            const EstimateEvent* event = run.out.find(EventId::signal_lost);
            REQUIRE(event);
            CHECK(says_near_ground(*event));
        }
    }
}

TEST_CASE("silence high above the ground is neither a touchdown nor an endless descent") {
    Flight flight = make_flight("nominal", 4, true);
    const double lost_s = flight.truth.events.ejections.at(0).t_s + 5.0;
    silence(flight, lost_s, 1e9);
    const double height_m = height_at(flight.truth, lost_s);
    REQUIRE(height_m > 400.0);
    Run run(flight);
    fly(flight, {}, 4, run.state, run.out);
    const double landed_s = flight.truth.events.touchdown_s;
    run.wait(lost_s + 1.0, lost_s + 100.0);
    CHECK(run.state.phases().phase() == Phase::under_drogue);
    run.wait(lost_s + 100.0, lost_s + 1000.0);
    CHECK(run.state.phases().phase() == Phase::presumed_down);
    CHECK(!run.found(EventId::touchdown));
    const Transition* down = run.found(EventId::signal_lost);
    REQUIRE(down);
    CHECK(down->t_sigma_s > 30.0);
    CHECK(std::fabs(time_s(*down) - landed_s) < 2.0 * down->t_sigma_s);
    CHECK(!says_near_ground(*run.out.find(EventId::signal_lost)));
}

TEST_CASE("a silence that hides the whole ascent ends with a descent, not on the rail") {
    for (const bool inertial : {true, false}) {
        INFO((inertial ? "both sensors" : "barometer only"));
        Flight flight = make_flight("nominal", 4, true);
        const double ejection_s = flight.truth.events.ejections.at(0).t_s;
        silence(flight, ejection_s - 25.0, ejection_s + 5.0);
        Run run(flight, inertial);
        fly(flight, {.inertial = inertial}, 4, run.state, run.out);
        const Transition* joined = run.found(EventId::joined_in_flight);
        REQUIRE(joined);
        CHECK(time_s(*joined) < ejection_s + 10.0);
        CHECK(run.found(EventId::main_out));
        CHECK(run.state.phases().phase() == Phase::down);
    }
}

TEST_CASE("a reacquired signal is believed: in the air the descent continues, at rest it was a touchdown") {
    struct Case {
        const char* name;
        double lost_before_landing_s;
        double silent_s;
    };
    for (const Case& c : {Case{"back before the ground", 7.0, 3.0}, Case{"back at rest", 6.0, 15.0},
                          Case{"back after minutes", 4.0, 100.0}}) {
        INFO(c.name);
        Flight flight = make_flight("nominal", 6, true);
        sim::Scenario scenario = flight.scenario;
        flight.truth = sim::run_truth(sim::make_setup(scenario, 6), scenario.kind, 120.0, 120.0);
        flight.sensors = sim::sense(flight.truth, scenario, 6);
        const double landed_s = flight.truth.events.touchdown_s;
        const double lost_s = landed_s - c.lost_before_landing_s;
        silence(flight, lost_s, lost_s + c.silent_s);
        Run run(flight);
        fly(flight, {}, 6, run.state, run.out);
        CHECK(run.state.phases().phase() == Phase::down);
        const Transition* landing = run.found(EventId::touchdown);
        REQUIRE(landing);
        INFO("error " << time_s(*landing) - landed_s << " s, sigma " << landing->t_sigma_s << " s");
        CHECK(std::fabs(time_s(*landing) - landed_s) < 2.5 * landing->t_sigma_s);
        const bool presumed = c.silent_s > c.lost_before_landing_s + 6.0;
        CHECK((run.out.find(EventId::signal_reacquired) != nullptr) == presumed);
    }
}

namespace {

/// A flight, the way back, and the same vehicle's second flight, in one stream of readings.
struct TwoFlights {
    Flight joined;
    sim::Truth second;
    double second_begins_s = 0;
};

TwoFlights two_flights(std::uint64_t seed) {
    TwoFlights out;
    out.joined = make_flight("nominal", seed, true);
    sim::Scenario scenario = out.joined.scenario;
    scenario.before_ignition_s = 45.0;
    double now_s = out.joined.truth.samples.back().t_s;
    const auto append = [&](const auto& stream) {
        for (auto reading : stream.imu) {
            reading.t_s += now_s;
            out.joined.sensors.imu.push_back(reading);
        }
        for (auto reading : stream.pressure) {
            reading.t_s += now_s;
            out.joined.sensors.pressure.push_back(reading);
        }
        now_s = out.joined.sensors.imu.back().t_s;
    };
    using sim::Handling;
    for (const Handling kind : {Handling::transport, Handling::drop, Handling::carry, Handling::swing, Handling::bump})
        append(sim::handle(kind, scenario, seed, 25.0));
    out.second_begins_s = now_s;
    out.second =
        sim::run_truth(sim::make_setup(scenario, seed + 100), scenario.kind, scenario.after_touchdown_s, 120.0);
    append(sim::sense(out.second, scenario, seed + 100));
    out.joined.truth.samples.back().t_s = now_s;
    return out;
}

int count(const Collector& out, EventId id) {
    int n = 0;
    for (const EstimateEvent& event : out.events) n += event.id == id;
    return n;
}

} // namespace

TEST_CASE("carried back, stood on the pad and flown again") {
    for (const bool pressure : {true, false}) {
        INFO((pressure ? "both sensors" : "inertial sensor only"));
        const TwoFlights flights = two_flights(8);
        Run run(flights.joined, true, pressure);
        fly(flights.joined, {.pressure = pressure}, 8, run.state, run.out);
        CHECK(count(run.out, EventId::liftoff) == 2);
        CHECK(count(run.out, EventId::ready_again) == 1);
        CHECK(count(run.out, EventId::touchdown) == 2);
        for (const auto& [moment, t_s] : true_moments(flights.second)) {
            INFO(word(moment));
            const Transition* found = run.found(moment);
            REQUIRE(found);
            CHECK(std::fabs(time_s(*found) - flights.second_begins_s - t_s) < 1.0);
        }
    }
}

TEST_CASE("a second flight straight after the first is found, although nobody was seen to prepare it") {
    // As two simulated flights on one link: the vehicle lies, and with the next sample stands on the rail again. With
    // 25 s there it is seen to stand; with 8 s only its climb says that it flies.
    for (const double before_ignition_s : {25.0, 8.0}) {
        for (const bool inertial : {true, false}) {
            INFO(before_ignition_s << " s on the rail" << (inertial ? "" : ", barometer only"));
            Flight joined = make_flight("nominal", 1, true);
            const double begins_s = joined.truth.samples.back().t_s + 0.5;
            sim::Scenario scenario = joined.scenario;
            scenario.before_ignition_s = before_ignition_s;
            const sim::Truth second =
                sim::run_truth(sim::make_setup(scenario, 2), scenario.kind, scenario.after_touchdown_s, 120.0);
            const sim::SensorStream sensors = sim::sense(second, scenario, 2);
            for (auto reading : sensors.imu) {
                reading.t_s += begins_s;
                joined.sensors.imu.push_back(reading);
            }
            for (auto reading : sensors.pressure) {
                reading.t_s += begins_s;
                joined.sensors.pressure.push_back(reading);
            }
            joined.truth.samples.back().t_s = begins_s + second.samples.back().t_s;
            Run run(joined, inertial);
            fly(joined, {.inertial = inertial}, 1, run.state, run.out);
            CHECK(count(run.out, EventId::liftoff) == 2);
            CHECK(count(run.out, EventId::ready_again) == 1);
            CHECK(count(run.out, EventId::touchdown) == 2);
            CHECK(count(run.out, EventId::vertical_restarted) <= 2);
            const Transition *ready = run.found(EventId::ready_again), *left = run.found(EventId::liftoff);
            REQUIRE((ready && left));
            CHECK(ready->t_ns <= left->t_ns);
            const Transition* apogee = run.found(EventId::apogee);
            REQUIRE(apogee);
            CHECK(std::fabs(time_s(*apogee) - begins_s - second.events.apogee_s) < 1.0);
        }
    }
}

TEST_CASE("with a barometer alone another flight is found, prepared by five minutes of rest or not") {
    const Flight first = make_flight("nominal", 9, true);
    for (const double rest_s : {120.0, 400.0}) {
        INFO("rest " << rest_s << " s");
        Flight flight = first;
        const double rests_from_s = flight.truth.samples.back().t_s;
        auto& pressure = flight.sensors.pressure;
        const std::vector<sim::PressureReading> flown = pressure;
        for (std::size_t i = 0; pressure.back().t_s < rests_from_s + rest_s; ++i) {
            sim::PressureReading reading = flown[i % 375]; // the first 15 s on the pad
            reading.t_s = pressure.back().t_s + sim::kPressurePeriod_s;
            pressure.push_back(reading);
        }
        const double second_s = pressure.back().t_s;
        for (sim::PressureReading reading : flown) {
            reading.t_s += second_s;
            pressure.push_back(reading);
        }
        flight.sensors.imu.clear();
        Run run(flight, false, true);
        fly(flight, {.inertial = false}, 9, run.state, run.out);
        CHECK(count(run.out, EventId::ready_again) == 1);
        CHECK(count(run.out, EventId::liftoff) == 2);
        CHECK(count(run.out, EventId::touchdown) == 2);
    }
}

TEST_CASE("a reboot on the ground shortens the wait for another flight, a reboot in flight changes nothing") {
    const Flight flight = make_flight("nominal", 10, true);
    for (const bool on_ground : {false, true}) {
        Run run(flight);
        if (!on_ground) run.state.reboot();
        fly(flight, {}, 10, run.state, run.out);
        REQUIRE(run.state.phases().phase() == Phase::down);
        if (on_ground) run.state.reboot();
        const double end_s = flight.truth.samples.back().t_s;
        for (double t_s = end_s + 1.0; t_s < end_s + 14.0; t_s += 0.005) {
            const std::int64_t t_ns = kRunStart_ns + seconds_to_ns(t_s);
            run.state.imu({t_ns, {9.8 + 0.05 * std::sin(37.0 * t_s), 0.1, 0.1}, {0.0, 0.0, 0.0}}, run.out);
        }
        CHECK(run.state.phases().phase() == (on_ground ? Phase::on_rail : Phase::down));
    }
}
