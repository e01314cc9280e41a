// Apogee and liftoff from heights alone at low rates, against the least that any estimator can be off by: Cramer-Rao
// bounds of tests/reference/numerics2/multirate.json, and its flight in closed form (constant thrust, no drag). A
// stated sigma below the bound of its own window is false, and so is an error below it in the mean of many flights.
#include <algorithm>
#include <random>
#include <vector>

#include <catch2/catch.hpp>

#include "shared/atmosphere.hpp"
#include "tests/estimate/chain/flight_harness.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using namespace turnstone::test;

namespace {

constexpr int kRuns = 60;
constexpr double kStands_s = 20; ///< before the reference's flight begins

/// The row of a table whose first columns are these.
std::vector<double> bounds_of(const char* id, const std::vector<double>& first) {
    const auto& c = reference_case("numerics2/multirate.json", id);
    const auto& rows = c.at("inputs").at("rows");
    for (std::size_t k = 0; k < rows.size(); ++k) {
        const auto row = rows[k].get<std::vector<double>>();
        if (std::equal(first.begin(), first.end(), row.begin()))
            return c.at("expected").at("rows")[k].get<std::vector<double>>();
    }
    throw std::runtime_error(id);
}

struct Moment {
    double square_s2 = 0, normalised = 0, least_sigma_s = 1e9;
    std::vector<double> errors_s = {};
    int found = 0;
    void add(const Transition& found_at, double true_s) {
        const double error_s = seconds_between(kRunStart_ns, found_at.t_ns) - true_s;
        square_s2 += error_s * error_s;
        errors_s.push_back(std::abs(error_s));
        normalised += error_s * error_s / (found_at.t_sigma_s * found_at.t_sigma_s);
        least_sigma_s = std::min(least_sigma_s, found_at.t_sigma_s);
        ++found;
    }
    double median_s() {
        const auto middle = errors_s.begin() + static_cast<std::ptrdiff_t>(errors_s.size() / 2);
        std::nth_element(errors_s.begin(), middle, errors_s.end());
        return *middle;
    }
};

} // namespace

TEST_CASE("apogee and liftoff by heights at low rates are never surer than their bounds allow") {
    const auto& truth =
        reference_case("numerics2/multirate.json", "closed_form_flight_fits").at("expected").at("truth");
    const double liftoff_s = truth.at("liftoff_s"), burnout_s = truth.at("burnout_s"), apogee_s = truth.at("apogee_s");
    const double apogee_m = truth.at("apogee_m");
    constexpr double kGravity_mps2 = 9.80665, kSigma_m = 1.0;
    const double burn_s = burnout_s - liftoff_s;
    const double thrust_mps2 = kGravity_mps2 * (apogee_s - burnout_s) / burn_s;
    const auto height_at = [&](double t_s) {
        if (t_s < liftoff_s) return 0.0;
        if (t_s < burnout_s) return 0.5 * thrust_mps2 * (t_s - liftoff_s) * (t_s - liftoff_s);
        return apogee_m - 0.5 * kGravity_mps2 * (t_s - apogee_s) * (t_s - apogee_s);
    };
    REQUIRE(height_at(burnout_s + 1e-9) == Approx(height_at(burnout_s - 1e-9)).epsilon(1e-6));
    Vehicle vehicle = demo_scenario("nominal").vehicle;
    Site site;
    site.pad = site.station = {45, 10, 0};
    const AirState high = standard_atmosphere(apogee_m);
    const double pa_per_m = high.density_kg_m3 * kGravity_mps2;
    vehicle.sensors.pressure_noise_pa = kSigma_m * pa_per_m;
    for (const double hz : {2.0, 5.0, 10.0}) {
        Moment apogee, liftoff;
        for (unsigned seed = 1; seed <= kRuns; ++seed) {
            std::mt19937_64 random(seed);
            std::normal_distribution<double> normal;
            LoneFlight state(vehicle, site, false, true);
            Collector out;
            const double phase_s = std::uniform_real_distribution<>(0, 1 / hz)(random);
            double next_tick_s = 0.1;
            for (double t_s = phase_s; t_s < kStands_s + apogee_s + 6; t_s += 1 / hz) {
                for (; next_tick_s <= t_s; next_tick_s += 0.1)
                    state.tick(kRunStart_ns + seconds_to_ns(next_tick_s), out);
                const double pressure_pa =
                    standard_atmosphere(geopotential_from_geometric_m(height_at(t_s - kStands_s))).pressure_pa;
                state.pressure({kRunStart_ns + seconds_to_ns(t_s),
                                pressure_pa + vehicle.sensors.pressure_noise_pa * normal(random), kNaN},
                               out);
            }
            for (const Transition& found : state.phases().transitions()) {
                if (found.event == EventId::apogee) apogee.add(found, kStands_s + apogee_s);
                if (found.event == EventId::liftoff) liftoff.add(found, kStands_s + liftoff_s);
            }
        }
        // What stands before apogee and a second after it, gravity known: no window in use is better.
        const double apogee_bound_s = bounds_of("apogee_onboard_delay_window", {hz, 3, 1, 0})[0];
        const double apogee_rms_s = std::sqrt(apogee.square_s2 / apogee.found);
        // Of two seconds of a climb whose thrust is known, which it is not.
        const double liftoff_bound_s = bounds_of("liftoff_bound", {hz, 60, 2, 0})[0];
        const double liftoff_rms_s = std::sqrt(liftoff.square_s2 / liftoff.found);
        INFO(hz << " Hz: apogee " << apogee_rms_s << " s (" << apogee.normalised / apogee.found << "), least sigma "
                << apogee.least_sigma_s << " s, bound " << apogee_bound_s << " s; liftoff " << liftoff_rms_s << " s ("
                << liftoff.normalised / liftoff.found << "), least sigma " << liftoff.least_sigma_s << " s, bound "
                << liftoff_bound_s << " s");
        CHECK(apogee.found == kRuns);
        CHECK(liftoff.found == kRuns);
        CHECK(apogee_rms_s > apogee_bound_s);
        CHECK(apogee.least_sigma_s > apogee_bound_s);
        CHECK(apogee.median_s() < 1.5 / hz);
        CHECK(liftoff.median_s() < 1.5 / hz);
        CHECK(apogee.normalised / apogee.found < 2);
        CHECK(liftoff_rms_s > liftoff_bound_s);
        CHECK(liftoff.least_sigma_s > liftoff_bound_s);
        CHECK(liftoff.normalised / liftoff.found < 2);
    }
}
