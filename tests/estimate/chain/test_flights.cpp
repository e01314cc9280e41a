// Randomised simulator flights: every phase found once, at the right time, whatever is received and whichever sensor
// there is. TURNSTONE_FLIGHTS=500 flies the full set.
#include <cstdlib>

#include <catch2/catch.hpp>

#include "tests/estimate/chain/flight_harness.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using namespace turnstone::test;

namespace {

struct Tally {
    std::map<EventId, std::vector<double>> errors_s;   ///< sizes
    std::map<EventId, std::vector<double>> normalised; ///< error over its own 1-sigma
    std::string faults;
    int flights = 0;
};

int flights(int usual) {
    const char* wish = std::getenv("TURNSTONE_FLIGHTS");
#ifdef TURNSTONE_INSTRUMENTED
    usual = 4; // looks for faults, not for statistics
#endif
    return wish != nullptr ? std::max(1, std::atoi(wish)) : usual;
}

Tally fly_many(int count, const Reception& reception) {
    Tally tally;
    for (int seed = 1; seed <= count; ++seed) {
        const Flight flight = make_flight("nominal", static_cast<std::uint64_t>(seed), true);
        LoneFlight state(flight.scenario.vehicle, flight.scenario.site, reception.inertial, reception.pressure);
        Collector out;
        fly(flight, reception, static_cast<std::uint64_t>(seed), state, out);
        std::map<EventId, int> seen;
        const auto truth = true_moments(flight.truth);
        for (const Transition& found : state.phases().transitions()) {
            ++seen[found.event];
            const double error_s = seconds_between(kRunStart_ns, found.t_ns) - truth.at(found.event);
            tally.errors_s[found.event].push_back(std::fabs(error_s));
            tally.normalised[found.event].push_back(error_s / found.t_sigma_s);
        }
        for (const auto& [moment, t_s] : truth) {
            if (seen[moment] != 1) {
                tally.faults += "seed " + std::to_string(seed) + ": " + std::string(word(moment)) + " found " +
                                std::to_string(seen[moment]) + " times; ";
            }
        }
        ++tally.flights;
    }
    return tally;
}

struct Limit {
    EventId moment;
    double median_s;
};

void check(Tally tally, const std::vector<Limit>& limits) {
    INFO(tally.faults);
    CHECK(tally.faults.empty());
    if (tally.flights < 10) return; // the median of a few says nothing
    for (const Limit& limit : limits) {
        auto& errors = tally.errors_s[limit.moment];
        REQUIRE(!errors.empty());
        std::sort(errors.begin(), errors.end());
        const double median_s = errors[errors.size() / 2];
        UNSCOPED_INFO(word(limit.moment) << ": median " << median_s << " s, worst " << errors.back() << " s");
        CHECK(median_s < limit.median_s);
    }
}

/// The stated 1-sigma is as large as the errors are: their ratio is about one in the mean square, and nine in ten are
/// within two.
void check_calibration(const Tally& tally) {
    // The mean square of few flights scatters: three standard deviations of a chi-square mean around the limits of
    // many.
    const double scatter = 3.0 / std::sqrt(2.0 * tally.flights);
    for (const auto& [moment, normalised] : tally.normalised) {
        double squares = 0.0;
        double inside = 0.0;
        for (const double z : normalised) {
            squares += z * z;
            inside += std::fabs(z) < 2.0;
        }
        const double n = static_cast<double>(normalised.size());
        const double rms = std::sqrt(squares / n);
        INFO(word(moment) << ": rms of error over sigma " << rms << ", inside two sigma " << 100.0 * inside / n
                          << " %");
        CHECK(rms > 0.5 * (1.0 - scatter));
        CHECK(rms < 1.5 * (1.0 + scatter));
        CHECK(inside / n > 0.9 - 3.0 * std::sqrt(0.09 / n));
    }
}

const std::vector<Limit> kRequired{{EventId::liftoff, 0.050},    {EventId::burnout, 0.100},  {EventId::apogee, 0.150},
                                   {EventId::drogue_out, 0.150}, {EventId::main_out, 0.150}, {EventId::touchdown, 1.0}};

} // namespace

TEST_CASE("phases of flights received with a tenth of the packets lost and fades of two seconds") {
    const Tally tally = fly_many(flights(30), {.loss = 0.1, .fades_per_minute = 2.0});
    check(tally, kRequired);
    check_calibration(tally);
}

TEST_CASE("phases of flights received without a loss, and how well their times' sigmas are stated") {
    const Tally tally = fly_many(flights(20), {});
    check(tally, kRequired);
    check_calibration(tally);
}

TEST_CASE("phases of flights with a barometer only") {
    check(fly_many(flights(12), {.inertial = false}), kRequired);
}

TEST_CASE("phases of flights with an inertial sensor only") {
    auto limits = kRequired;
    limits[2].median_s = 0.3; // speed carried by the axial accelerometer alone for twelve seconds
    check(fly_many(flights(12), {.pressure = false}), limits);
}

TEST_CASE("odd courses of a flight") {
    struct Odd {
        const char* scenario;
        std::vector<EventId> found;
        std::vector<EventId> absent;
    };
    const std::vector<Odd> odds{
        {"late-drogue",
         {EventId::liftoff, EventId::apogee, EventId::drogue_out, EventId::main_out, EventId::touchdown},
         {}},
        {"ballistic", {EventId::liftoff, EventId::burnout, EventId::apogee}, {EventId::drogue_out, EventId::main_out}},
        {"barometer-failure",
         {EventId::liftoff, EventId::burnout, EventId::apogee, EventId::drogue_out, EventId::touchdown},
         {}},
        {"separation-test", {}, {EventId::liftoff}},
        {"on-the-rail", {}, {EventId::liftoff}}};
    for (const Odd& odd : odds) {
        INFO(odd.scenario);
        const Flight flight = make_flight(odd.scenario, 5, true);
        LoneFlight state(flight.scenario.vehicle, flight.scenario.site, true, true);
        Collector out;
        fly(flight, {}, 5, state, out);
        const auto truth = true_moments(flight.truth);
        for (const EventId moment : odd.found) {
            INFO(word(moment));
            const auto found = state.phases().time_of(moment);
            REQUIRE(found);
            CHECK(std::fabs(seconds_between(kRunStart_ns, *found) - truth.at(moment)) < 1.0);
        }
        for (const EventId moment : odd.absent) CHECK(!state.phases().time_of(moment));
        if (std::string(odd.scenario) == "separation-test") {
            CHECK(out.find(EventId::shock) != nullptr);
            CHECK(out.find(EventId::pressure_pulse) != nullptr);
        }
        if (std::string(odd.scenario) == "barometer-failure") {
            bool announced = false;
            for (const EstimateEvent& event : out.events) announced = announced || event.about == "static_pressure";
            CHECK(announced);
        }
    }
}

TEST_CASE("the same flight gives the same estimates and events") {
    const Flight flight = make_flight("nominal", 3, true);
    const auto run = [&] {
        LoneFlight state(flight.scenario.vehicle, flight.scenario.site, true, true);
        Collector out;
        fly(flight, {.loss = 0.1}, 3, state, out);
        return std::pair(state.estimates(), out.events);
    };
    const auto first = run();
    const auto second = run();
    CHECK(first.first.size() > 10'000);
    CHECK(differences(first.first, second.first) == 0);
    CHECK(first.second.size() == second.second.size());
}
