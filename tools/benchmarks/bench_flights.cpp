// How good the estimates are: every scenario, rate, vehicle and trouble of the trials through the whole station,
// against the simulator's truth. Prints Markdown tables. TURNSTONE_FLIGHTS sets the flights of each case (100),
// TURNSTONE_ERRORS the error set ("acceptance"); look_at_flights shows one case more closely.
#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <functional>
#include <string>
#include <vector>

#include "server/pipeline/events.hpp"
#include "tools/trials/cells.hpp"
#include "tools/trials/trial.hpp"
#include "tools/trials/trial_case.hpp"

using namespace turnstone;
using namespace turnstone::trials;

namespace {

/// Seeds that tuning never sees.
constexpr std::uint64_t kAcceptanceFirst = 5000;

struct Flown {
    TrialCase trial_case;
    std::string title;
    Scores scores;
};
using Flights = std::vector<Flown>;

int flights() {
    const char* wish = std::getenv("TURNSTONE_FLIGHTS");
    return wish != nullptr ? std::max(1, std::atoi(wish)) : 100;
}

std::string errors() {
    const char* wish = std::getenv("TURNSTONE_ERRORS");
    return wish != nullptr ? wish : "acceptance";
}

std::uint64_t first_seed() {
    return errors() == "acceptance" ? kAcceptanceFirst : 1;
}

Flown fly(TrialCase trial_case, const std::string& title) {
    trial_case.errors = errors();
    std::fprintf(stderr, "%d flights: %s\n", flights(), title.c_str());
    return {trial_case, title, run_trials(scenario_of(trial_case), first_seed(), flights())};
}

Flights fly_scenarios() {
    Flights out{fly({}, "nominal"), fly({.radio = "rough"}, "nominal, rough")};
    for (const char* scenario : {"late-drogue", "ballistic", "reboot-at-ejection", "gnss-loss", "barometer-failure"})
        out.push_back(fly({.scenario = scenario}, scenario));
    return out;
}

Flights fly_ground() {
    return {fly({.scenario = "separation-test"}, "separation-test"), fly({.scenario = "on-the-rail"}, "on-the-rail")};
}

Flights fly_rates() {
    Flights out;
    for (const double hz : {1.0, 2.0, 5.0, 10.0, 25.0, 50.0})
        out.push_back(fly({.kit = "baro", .pressure_hz = hz}, text("barometer %.0f Hz", hz)));
    for (const auto& [imu_hz, pressure_hz] :
         {std::pair{5.0, 5.0}, {10.0, 10.0}, {50.0, 25.0}, {100.0, 50.0}, {200.0, 25.0}})
        for (const std::size_t batch : {1U, 5U})
            out.push_back(fly({.kit = "all", .imu_hz = imu_hz, .pressure_hz = pressure_hz, .batch = batch},
                              text("inertial %.0f", imu_hz) + text("/%.0f Hz", pressure_hz) +
                                  (batch > 1 ? ", fives" : ", single")));
    return out;
}

/// What the rates do not have already.
Flights fly_kits() {
    Flights out;
    for (const Kit& kit : kits())
        if (kit.name != "demo" && kit.name != "all" && kit.name != "baro")
            out.push_back(fly({.kit = std::string(kit.name)}, std::string(kit.name)));
    return out;
}

Flights fly_troubles() {
    Flights out;
    for (const Trouble& trouble : troubles()) {
        TrialCase trial_case{.trouble = std::string(trouble.name)};
        if (trouble.name == "boot-10") trial_case.scenario = "reboot-at-ejection";
        out.push_back(fly(trial_case, std::string(trouble.summary)));
    }
    return out;
}

/// A table of one line a case.
void table(const std::string& corner, const std::vector<std::string>& columns, const std::vector<Flights>& groups,
           const std::function<std::vector<std::string>(const Flown&)>& cells) {
    Sheet sheet(corner, columns);
    for (const Flights& group : groups)
        for (const Flown& flown : group) sheet.row(flown.title, cells(flown));
    sheet.print();
}

/// Of the worst moment: median error over the period of the fastest sensor.
std::string worst_periods(const Flown& flown) {
    const sim::Telemetry telemetry = scenario_of(flown.trial_case).telemetry;
    const double sensors_hz = std::max(telemetry.imu_hz, telemetry.pressure_hz);
    const double fastest_hz = sensors_hz > 0 ? sensors_hz : telemetry.fix_hz;
    double worst = 0;
    for (std::size_t m = 0; m < kFlightEvents.size(); ++m) {
        std::vector<double> errors_s;
        for (const TrialScore& score : flown.scores)
            if (const FlightEventScore& event = score.flight_events[m]; event.happened && event.found > 0)
                errors_s.push_back(std::abs(event.error_s));
        if (errors_s.empty()) continue;
        std::nth_element(errors_s.begin(), errors_s.begin() + static_cast<long>(errors_s.size() / 2), errors_s.end());
        worst = std::max(worst, errors_s[errors_s.size() / 2] * fastest_hz);
    }
    return text("%.1f", worst);
}

void summary(const std::vector<Flights>& groups) {
    std::printf("\n## Summary\n");
    table("",
          {"sigmas within 0.5 to 2", "moments missed, false", "worst median error, periods",
           "no harm; warned before it", "health: vertical filter", "GNSS fixes", "pressure altitude", "sensor alerts"},
          groups, [](const Flown& flown) -> std::vector<std::string> {
              int missed_all = 0, wrong_all = 0;
              for (const TrialScore& score : flown.scores) {
                  for (std::size_t m = 0; m < kFlightEvents.size(); ++m) {
                      missed_all += missed(score, m);
                      wrong_all += wrong(score, m);
                  }
              }
              return {sigmas_within(flown.scores),
                      std::to_string(missed_all) + ", " + std::to_string(wrong_all),
                      worst_periods(flown),
                      warning_cell(flown.scores),
                      lamp_cell(flown.scores, Lamp::vertical),
                      lamp_cell(flown.scores, Lamp::fixes),
                      lamp_cell(flown.scores, Lamp::heights),
                      sum([](const TrialScore& s) { return s.sensor_alerts; })(flown.scores)};
          });
}

void predictions(const std::vector<Flights>& groups) {
    std::vector<std::string> before_apogee, all;
    for (std::size_t k = 0; k < kCheckpoints; ++k) {
        const auto checkpoint = static_cast<Checkpoint>(k);
        all.push_back(to_string(checkpoint));
        if (checkpoint < Checkpoint::apogee) before_apogee.push_back(to_string(checkpoint));
    }
    const auto each = [](std::size_t count, const std::function<std::string(std::size_t)>& cell) {
        std::vector<std::string> out;
        for (std::size_t k = 0; k < count; ++k) out.push_back(cell(k));
        return out;
    };
    std::printf("\n## Apogee: truth in the 90 %% interval; median error, %% of apogee\n");
    table("", before_apogee, groups, [&](const Flown& flown) {
        return each(before_apogee.size(), [&](std::size_t k) {
            return apogee_inside(static_cast<Checkpoint>(k))(flown.scores) + "; " + median([k](const TrialScore& s) {
                       return 100 * std::abs(s.predictions[k].apogee_error_m) / s.true_apogee_m;
                   })(flown.scores);
        });
    });
    std::printf(
        "\n## Landing: truth in the 95 %% ellipse of the case that happened; median miss of its semi-major axis, m\n");
    table("", all, groups, [&](const Flown& flown) {
        return each(all.size(), [&](std::size_t k) {
            return landing_inside(static_cast<Checkpoint>(k))(flown.scores) + "; " +
                   median([k](const TrialScore& s) { return s.predictions[k].miss_m; }, "%.0f")(flown.scores) + " of " +
                   median([k](const TrialScore& s) { return s.predictions[k].semi_major_m; }, "%.0f")(flown.scores);
        });
    });
}

void moments(const std::vector<Flights>& groups) {
    std::printf("\n## Moments: missed, false; median error in ms (mean square of error over sigma); found after, s\n");
    std::vector<std::string> names;
    for (const EventId id : kFlightEvents) names.push_back(make_event({.id = id, .t_ns = 0}, 0).text);
    table("", names, groups, [](const Flown& flown) {
        std::vector<std::string> cells;
        for (std::size_t m = 0; m < kFlightEvents.size(); ++m) {
            const auto of_found = [m](double FlightEventScore::*value, double factor) {
                return [=](const TrialScore& s) {
                    const FlightEventScore& event = s.flight_events[m];
                    return event.happened && event.found > 0 ? factor * std::abs(event.*value) : NAN;
                };
            };
            const Scores& scores = flown.scores;
            cells.push_back(sum([m](const TrialScore& s) { return missed(s, m); })(scores) + ", " +
                            sum([m](const TrialScore& s) { return wrong(s, m); })(scores) + "; " +
                            median(of_found(&FlightEventScore::error_s, 1e3), "%.0f")(scores) + " (" +
                            moment_square(m)(scores) + "); " +
                            median(of_found(&FlightEventScore::delay_s, 1), "%.2f")(scores));
        }
        return cells;
    });
}

void quantities(const std::vector<Flights>& groups) {
    std::vector<Scores> scores;
    for (const Flights& group : groups)
        for (const Flown& flown : group) scores.push_back(flown.scores);
    const std::vector<sim::TruePhase> phases = phases_of(scores);
    std::vector<std::string> names;
    for (const sim::TruePhase phase : phases) names.emplace_back(sim::to_string(phase));
    for (std::size_t q = 0; q < kQuantities; ++q) {
        const auto quantity = static_cast<Quantity>(q);
        std::printf("\n## Errors of %s\n", text_of(quantity).title().c_str());
        table("", names, groups, [&](const Flown& flown) {
            std::vector<std::string> cells;
            for (const sim::TruePhase& phase : phases)
                cells.push_back(errors_cell(flown.scores, quantity, {&phase, 1}));
            return cells;
        });
    }
}

void ground(const Flights& all) {
    std::printf("\n## On the ground\n");
    table("", {"false flight events", "charges fired", "pressure pulses found", "shocks found", "sensor alerts"}, {all},
          [](const Flown& flown) -> std::vector<std::string> {
              const auto count = [&](const std::function<int(const TrialScore&)>& value) {
                  return sum(value)(flown.scores);
              };
              return {count([](const TrialScore& s) {
                          int found = 0;
                          for (const FlightEventScore& event : s.flight_events) found += event.found;
                          return found;
                      }),
                      count([](const TrialScore& s) { return s.charges; }),
                      count([](const TrialScore& s) { return s.pressure_pulses; }),
                      count([](const TrialScore& s) { return s.shocks; }),
                      count([](const TrialScore& s) { return s.sensor_alerts; })};
          });
}

/// What the tables show.
void preface() {
    const sim::ErrorSet set = *sim::error_set_from_name(errors());
    std::printf(
        R"(%d flights of each case from seed %d, with the errors "%s": %s. The bytes
of the vehicle's transmitter go through the radio, the decoder, the clock and all estimators, and the results are compared with
the simulator's truth, which is scattered around what the estimators are told (`tools/sim/scenario/error_set.cpp`).

A line is a case: a scenario of the demo vehicle, "rough" on a radio with 10 %% loss, bit errors, bursts and fades of two
seconds; then rates of a vehicle with all sensors or a barometer alone, single samples and packets of five; vehicles with less; and
the nominal flight with one thing worse. A cell of errors is: root mean square; in brackets the mean of (error / stated 1-sigma)²,
1 is ideal, less is conservative, more is overconfident, bold beyond 0.5 and 2; then the part of the time with an estimate not
older than half a second or one and a half samples. No answer counts as a miss. Health: per cent of judged rows "consistent", then
"overconfident" or worse. Harm is any error beyond %.0f of its stated 1-sigma; a warning is a lamp at "overconfident" or an alert about
a sensor. The limits that tests hold these figures to are in `tests/trials`.
)",
        flights(), static_cast<int>(first_seed()), errors().c_str(), std::string(set.summary).c_str(),
        TrialScore::kHarm);
}

} // namespace

int main() {
    if (!sim::error_set_from_name(errors())) {
        std::fprintf(stderr, "no error set \"%s\"; there are: ideal tuning acceptance\n", errors().c_str());
        return 1;
    }
    preface();
    const Flights on_ground = fly_ground();
    const std::vector<Flights> in_flight{fly_scenarios(), fly_rates(), fly_kits(), fly_troubles()};
    summary(in_flight);
    moments(in_flight);
    predictions(in_flight);
    std::vector<Flights> all = in_flight;
    all.push_back(on_ground);
    quantities(all);
    ground(on_ground);
}
