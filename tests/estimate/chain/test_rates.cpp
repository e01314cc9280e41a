// Vehicles whose radio or sensors are slow, and vehicles with fixes: moments found at every rate, late by no more than
// one and a half sample periods, and heights that fixes hold. Truth: flight_harness.hpp. TURNSTONE_FLIGHTS=500 flies
// the full set.
#include <cmath>
#include <cstdlib>

#include <catch2/catch.hpp>

#include "shared/geodesy.hpp"
#include "tests/estimate/chain/flight_harness.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using namespace turnstone::test;

namespace {

struct Rates {
    double inertial_hz, pressure_hz, fix_hz; ///< 0: no such sensor
};

struct Flown {
    std::vector<Transition> found;
    std::vector<EstimateEvent> events;
    double descent_squares_m2 = 0; ///< of the height's error while it comes down
    double descent_squares = 0;    ///< the same, each in its 1-sigma
    int descent_rows = 0;
    double drogue_error_mps = 0; ///< sum of the speed's error from 6 s to 26 s behind apogee
    double drogue_squares = 0;   ///< of the same, each in its 1-sigma
    int drogue_rows = 0;
};

int flights_each(int usual) {
    const char* wish = std::getenv("TURNSTONE_FLIGHTS");
#ifdef TURNSTONE_INSTRUMENTED
    usual = 1; // looks for faults, not for statistics
#endif
    return wish != nullptr ? std::max(1, std::atoi(wish)) : usual;
}

/// Single samples at these rates, an inertial one the mean since the one before. `spoil` may change a pressure (NaN:
/// none) by seconds since liftoff, `raised_m` the height that fixes say.
template <class Spoil>
Flown fly_at(const Flight& flight, const Rates& rates, double from_s, double raised_m, const Spoil& spoil) {
    const auto at = [](double t_s) { return kRunStart_ns + seconds_to_ns(t_s); };
    FlightEstimator estimator(flight.scenario.vehicle, flight.scenario.site, rates.inertial_hz > 0,
                              rates.pressure_hz > 0);
    const WindProfile wind(flight.scenario.site);
    FlightPicture picture;
    picture.wind = &wind;
    Collector out;
    Flown flown;
    const sim::FlightEvents& events = flight.truth.events;
    const auto compare = [&](const FlightEstimator::News& news) {
        if (!news.vertical) return;
        const double t_s = seconds_between(kRunStart_ns, news.vertical->t_ns);
        if (t_s < events.apogee_s + 3.0 || t_s > events.touchdown_s) return;
        const auto i = static_cast<std::size_t>(std::lround((t_s - flight.truth.samples[0].t_s) / sim::kTruthStep_s));
        const double error_m = news.vertical->altitude_m - flight.truth.samples.at(i).position_enu_m.z();
        flown.descent_squares_m2 += error_m * error_m;
        flown.descent_squares += std::pow(error_m / news.vertical->altitude_sigma_m, 2);
        ++flown.descent_rows;
        if (t_s < events.apogee_s + 6.0 || t_s > events.apogee_s + 26.0) return;
        const double error_mps = news.vertical->vertical_speed_mps - flight.truth.samples.at(i).velocity_enu_mps.z();
        flown.drogue_error_mps += error_mps;
        flown.drogue_squares += std::pow(error_mps / news.vertical->vertical_speed_sigma_mps, 2);
        ++flown.drogue_rows;
    };
    const auto& s = flight.sensors;
    double next_imu_s = from_s, next_pressure_s = from_s, next_fix_s = from_s, next_tick_s = from_s;
    Eigen::Vector3d force = Eigen::Vector3d::Zero(), rate = Eigen::Vector3d::Zero();
    int summed = 0;
    std::size_t i = 0, p = 0, f = 0;
    for (;;) {
        const double imu_s = i < s.imu.size() ? s.imu[i].t_s : 1e9;
        const double pressure_s = p < s.pressure.size() ? s.pressure[p].t_s : 1e9;
        const double fix_s = f < s.fix.size() ? s.fix[f].t_s : 1e9;
        const double now_s = std::min({imu_s, pressure_s, fix_s});
        if (now_s > 1e8) break;
        for (; next_tick_s <= now_s; next_tick_s += 0.1) compare(estimator.tick(at(next_tick_s), picture, out));
        if (now_s == fix_s) {
            const sim::FixReading& r = s.fix[f++];
            if (rates.fix_hz <= 0 || now_s < next_fix_s - 1e-6) continue;
            next_fix_s = now_s + 1.0 / rates.fix_hz;
            const double height_m = r.height_msl_m + flight.scenario.site.geoid_height_m + raised_m;
            FixSample fix{};
            fix.t_ns = at(now_s);
            fix.latitude_deg = r.latitude_deg;
            fix.longitude_deg = r.longitude_deg;
            fix.height_ellipsoid_m = height_m;
            fix.velocity_enu_mps = r.velocity_enu_mps;
            fix.fix_dimensions = r.fix_dimensions;
            fix.accuracy_horizontal_m = r.accuracy_horizontal_m;
            fix.accuracy_vertical_m = r.accuracy_vertical_m;
            fix.satellites = r.satellites;
            compare(estimator.fix(fix, picture, out));
        } else if (now_s == pressure_s) {
            const sim::PressureReading& r = s.pressure[p++];
            if (rates.pressure_hz <= 0 || now_s < next_pressure_s - 1e-6) continue;
            next_pressure_s = std::max(next_pressure_s, now_s - 1.0 / rates.pressure_hz) + 1.0 / rates.pressure_hz;
            const double pressure_pa = spoil(now_s - events.liftoff_s, r.pressure_pa);
            compare(estimator.pressure({at(now_s), pressure_pa, r.temperature_k}, picture, out));
        } else {
            const sim::ImuReading& r = s.imu[i++];
            force += r.accel_body_mps2;
            rate += r.rate_body_radps;
            ++summed;
            if (rates.inertial_hz <= 0 || now_s < next_imu_s - 1e-6) continue;
            next_imu_s = std::max(next_imu_s, now_s - 1.0 / rates.inertial_hz) + 1.0 / rates.inertial_hz;
            compare(estimator.imu({at(now_s), force / summed, rate / summed}, picture, out));
            force.setZero();
            rate.setZero();
            summed = 0;
        }
    }
    flown.found = estimator.phases().transitions();
    flown.events = out.events;
    return flown;
}

double as_it_is(double, double pressure_pa) {
    return pressure_pa;
}

} // namespace

TEST_CASE("moments are found at every rate of a radio") {
    const int count = flights_each(4);
    for (const Rates& rates :
         {Rates{0, 1, 0}, Rates{0, 2, 0}, Rates{0, 5, 0}, Rates{0, 12.5, 0}, Rates{0, 25, 0}, Rates{5, 5, 0},
          Rates{10, 5, 0}, Rates{50, 25, 0}, Rates{100, 25, 0}, Rates{200, 25, 0}}) {
        INFO("inertial " << rates.inertial_hz << " Hz, barometer " << rates.pressure_hz << " Hz");
        std::map<EventId, std::vector<double>> errors_s;
        std::string faults;
        for (int seed = 1; seed <= count; ++seed) {
            const Flight flight = make_flight("nominal", static_cast<std::uint64_t>(seed), true);
            const Flown flown = fly_at(flight, rates, 0.0, 0.0, as_it_is);
            std::map<EventId, int> seen;
            const auto truth = true_moments(flight.truth);
            for (const Transition& found : flown.found) {
                ++seen[found.event];
                const auto moment = truth.find(found.event);
                if (moment != truth.end())
                    errors_s[found.event].push_back(
                        std::fabs(seconds_between(kRunStart_ns, found.t_ns) - moment->second));
            }
            for (const auto& [moment, t_s] : truth)
                if (seen[moment] != 1)
                    faults += "seed " + std::to_string(seed) + ": " + std::string(word(moment)) + " found " +
                              std::to_string(seen[moment]) + " times; ";
        }
        INFO(faults);
        CHECK(faults.empty());
        const double period_s = 1.0 / std::max(rates.inertial_hz, rates.pressure_hz);
        for (auto& [moment, errors] : errors_s) {
            std::sort(errors.begin(), errors.end());
            INFO(word(moment) << ": median " << errors[errors.size() / 2] << " s");
            // Below ten samples a second the period decides; above, what the barometer's noise lets be seen. A
            // barometer alone at a few samples a second sees apogee and the drogue, half a second later, as one thing.
            const bool coarse = rates.inertial_hz == 0 && rates.pressure_hz < 10;
            CHECK(errors[errors.size() / 2] < std::max(coarse ? 1.25 : 0.5, 1.5 * period_s));
        }
    }
}

TEST_CASE("fixes hold the height of a vehicle whose barometer is dead, and of one that has none") {
    for (const Rates& rates : {Rates{200, 25, 5}, Rates{200, 0, 5}, Rates{0, 0, 5}}) {
        INFO("inertial " << rates.inertial_hz << " Hz, barometer " << rates.pressure_hz << " Hz");
        const Flight flight = make_flight("nominal", 3, true);
        const Flown flown = fly_at(flight, rates, 0.0, 0.0, [](double since_liftoff_s, double pressure_pa) {
            return since_liftoff_s > 1.0 ? std::nan("") : pressure_pa;
        });
        REQUIRE(flown.descent_rows > 100);
        CHECK(std::sqrt(flown.descent_squares_m2 / flown.descent_rows) < 5.0);
        std::map<EventId, int> seen;
        for (const Transition& found : flown.found) ++seen[found.event];
        for (const EventId moment : {EventId::liftoff, EventId::burnout, EventId::apogee, EventId::touchdown}) {
            INFO(word(moment));
            CHECK(seen[moment] == 1);
        }
    }
}

TEST_CASE("a vehicle with nothing but a receiver knows its height as well as it says") {
    double squares = 0;
    int rows = 0;
    for (std::uint64_t seed = 1; seed <= 8; ++seed) {
        const Flown flown = fly_at(make_flight("nominal", seed, true), {0, 0, 5}, 0.0, 0.0, as_it_is);
        squares += flown.descent_squares;
        rows += flown.descent_rows;
    }
    REQUIRE(rows > 800);
    INFO(squares / rows);
    CHECK(squares / rows < 3.0);
    CHECK(squares / rows > 0.2);
}

// Pressure tells the speed of a fall but for the day's temperature (some per cent) and gusts, which are as often up.
TEST_CASE("a fall that only a barometer sees is as fast as the estimate says, and no slower") {
    for (const Rates& rates : {Rates{200, 25, 0}, Rates{50, 25, 0}, Rates{0, 25, 0}}) {
        double error_mps = 0, squares = 0;
        int rows = 0;
        for (std::uint64_t seed = 1; seed <= static_cast<std::uint64_t>(flights_each(6)); ++seed) {
            const Flown flown = fly_at(make_flight("nominal", seed, true), rates, 0.0, 0.0, as_it_is);
            error_mps += flown.drogue_error_mps;
            squares += flown.drogue_squares;
            rows += flown.drogue_rows;
        }
        REQUIRE(rows > 0);
        INFO("inertial " << rates.inertial_hz << " Hz, barometer " << rates.pressure_hz << " Hz: mean error "
                         << error_mps / rows << " m/s, mean square " << squares / rows);
        CHECK(std::abs(error_mps / rows) < 0.4);
        CHECK(squares / rows < 2.0);
        CHECK(squares / rows > 0.2);
    }
}

TEST_CASE("fixes above another datum than the pad's cost an advisory and nothing else") {
    const Flight flight = make_flight("nominal", 5, true);
    const Flown right = fly_at(flight, {200, 25, 5}, 0.0, 0.0, as_it_is);
    const auto advised = [](const Flown& flown) {
        return std::count_if(flown.events.begin(), flown.events.end(),
                             [](const EstimateEvent& event) { return event.id == EventId::pad_height_differs; });
    };
    CHECK(advised(right) == 0);
    for (const double raised_m : {-50.0, 50.0}) {
        INFO(raised_m << " m");
        const Flown raised = fly_at(flight, {200, 25, 5}, 0.0, raised_m, as_it_is);
        CHECK(advised(raised) == 1);
        REQUIRE(raised.found.size() == right.found.size());
        CHECK(std::sqrt(raised.descent_squares_m2 / raised.descent_rows) <
              std::sqrt(right.descent_squares_m2 / right.descent_rows) + 0.5);
    }
}

TEST_CASE("a station that starts in mid-flight says so, and claims no liftoff") {
    for (const double after_apogee_s : {-4.0, 8.0, 30.0}) {
        INFO(after_apogee_s << " s after apogee");
        Flight flight = make_flight("nominal", 7, true);
        const double from_s = flight.truth.events.apogee_s + after_apogee_s;
        const auto before = [&](const auto& reading) { return reading.t_s < from_s; };
        std::erase_if(flight.sensors.imu, before);
        std::erase_if(flight.sensors.pressure, before);
        std::erase_if(flight.sensors.fix, before);
        for (const Rates& rates : {Rates{200, 25, 0}, Rates{0, 25, 0}}) {
            INFO("inertial " << rates.inertial_hz << " Hz");
            const Flown flown = fly_at(flight, rates, from_s, 0.0, as_it_is);
            REQUIRE(!flown.found.empty());
            CHECK(flown.found.front().event == EventId::joined_in_flight);
            CHECK(flown.found.back().event == EventId::touchdown);
            for (const Transition& found : flown.found) CHECK(found.event != EventId::liftoff);
        }
    }
}
