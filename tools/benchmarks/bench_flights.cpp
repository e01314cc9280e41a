// How good the estimates are: every scenario of the simulator through the whole station, against the simulator's truth.
// Prints Markdown tables. TURNSTONE_FLIGHTS sets the flights of each case (100), TURNSTONE_ERRORS one error set of the
// three; look_at_flights shows one case more closely.
#include <cstdio>
#include <cstdlib>
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

int flights() {
    const char* wish = std::getenv("TURNSTONE_FLIGHTS");
    return wish != nullptr ? std::max(1, std::atoi(wish)) : 100;
}

Flown fly(TrialCase trial_case, const std::string& errors, const std::string& title) {
    trial_case.errors = errors;
    std::fprintf(stderr, "%d flights: %s, %s\n", flights(), title.c_str(), errors.c_str());
    const std::uint64_t first = errors == "acceptance" ? kAcceptanceFirst : 1;
    return {trial_case, title, run_trials(scenario_of(trial_case), first, flights())};
}

std::vector<Scores> scores_of(const std::vector<Flown>& all) {
    std::vector<Scores> out;
    for (const Flown& flown : all) out.push_back(flown.scores);
    return out;
}

std::vector<std::string> titles_of(const std::vector<Flown>& all) {
    std::vector<std::string> out;
    for (const Flown& flown : all) out.push_back(flown.title);
    return out;
}

void errors_table(const std::vector<Flown>& all) {
    Sheet sheet("Errors", titles_of(all));
    sheet.row("time of a packet, ms", scores_of(all), [](const Scores& scores) {
        Errors all_s;
        for (const TrialScore& score : scores) all_s.add(score.time_stamp_s);
        return all_s.count > 0 ? text("%.2f", 1e3 * all_s.rms()) : std::string("–");
    });
    for (std::size_t q = 0; q < kQuantities; ++q) {
        const auto quantity = static_cast<Quantity>(q);
        sheet.row(text_of(quantity).title() + ", ascent", scores_of(all),
                  [=](const Scores& scores) { return errors_cell(scores, quantity, kAscent); });
        if (quantity == Quantity::mach || quantity == Quantity::dynamic_pressure) continue;
        sheet.row(text_of(quantity).title() + ", descent", scores_of(all),
                  [=](const Scores& scores) { return errors_cell(scores, quantity, kDescent); });
    }
    for (const auto& [lamp, name] : {std::pair{Lamp::vertical, "vertical filter"},
                                     {Lamp::fixes, "GNSS fixes"},
                                     {Lamp::heights, "pressure altitude"}})
        sheet.row(std::string("health of ") + name + ": consistent, overconfident", scores_of(all),
                  [lamp = lamp](const Scores& scores) { return lamp_cell(scores, lamp); });
    sheet.print();
}

void moments_table(const std::vector<Flown>& all) {
    Sheet sheet("Moments", titles_of(all));
    for (std::size_t m = 0; m < kFlightEvents.size(); ++m) {
        const std::string name = make_event({.id = kFlightEvents[m], .t_ns = 0}, 0).text;
        const auto found = [m](const TrialScore& s) {
            return s.flight_events[m].happened && s.flight_events[m].found > 0;
        };
        sheet.row(
            name + ": missed, false", scores_of(all),
            [m](const Scores& scores) {
                return sum([m](const TrialScore& s) { return missed(s, m); })(scores) + ", " +
                       sum([m](const TrialScore& s) { return wrong(s, m); })(scores);
            });
        sheet.row(
            name + ": error, ms (square)", scores_of(all),
            [=](const Scores& scores) {
                return spread(
                           [=](const TrialScore& s) {
                               return found(s) ? 1e3 * std::abs(s.flight_events[m].error_s) : NAN;
                           },
                           "%.0f")(scores) +
                       " (" + moment_square(m)(scores) + ")";
            });
        sheet.row(name + ": found after, s", scores_of(all),
                  spread([=](const TrialScore& s) { return found(s) ? s.flight_events[m].delay_s : NAN; }, "%.2f"));
    }
    sheet.row("Impact that ends telemetry, presumed from silence: error, s", scores_of(all),
              spread([](const TrialScore& s) { return std::abs(s.presumed_impact_error_s); }, "%.2f"));
    sheet.print();
}

void predictions_table(const std::vector<Flown>& all) {
    Sheet sheet("Predictions", titles_of(all));
    for (std::size_t k = 0; k < kCheckpoints; ++k) {
        const auto checkpoint = static_cast<Checkpoint>(k);
        const auto of = [k](const TrialScore& s) -> const PredictionScore& { return s.predictions[k]; };
        const std::string when = to_string(checkpoint);
        if (checkpoint < Checkpoint::apogee) {
            sheet.row("apogee " + when + ": truth in 90 % interval", scores_of(all), apogee_inside(checkpoint));
            sheet.row(
                "apogee " + when + ": error, % of apogee", scores_of(all),
                spread([=](const TrialScore& s) { return 100 * std::abs(of(s).apogee_error_m) / s.true_apogee_m; },
                       "%.2f"));
        }
        sheet.row("landing " + when + ": truth in 95 % ellipse", scores_of(all), landing_inside(checkpoint));
        sheet.row("landing " + when + ": miss, m", scores_of(all),
                  spread([=](const TrialScore& s) { return of(s).miss_m; }, "%.0f"));
        sheet.row("landing " + when + ": ellipse semi-major axis, m", scores_of(all),
                  spread([=](const TrialScore& s) { return of(s).semi_major_m; }, "%.0f"));
    }
    sheet.print();
}

/// One line a case: what is missed, and whether the sigmas hold.
void summary_table(const std::string& corner, const std::vector<Flown>& all) {
    Sheet sheet(corner,
                {"moments missed, false", "worst median error, periods", "altitude up, down", "speed up, down",
                 "position up, down", "velocity up, down", "long axis", "available: altitude, position",
                 "apogee in 90 %: 2 s after burnout, 3 s before", "vertical, fixes: overconfident", "sensor alerts"});
    const auto squares = [](const Flown& flown, Quantity quantity) {
        return square_cell(flown.scores, quantity, kAscent) + ", " + square_cell(flown.scores, quantity, kDescent);
    };
    for (const Flown& flown : all) {
        const sim::Telemetry telemetry = scenario_of(flown.trial_case).telemetry;
        int missed_all = 0, wrong_all = 0;
        double worst_periods = 0;
        const double fastest_hz = std::max({telemetry.imu_hz, telemetry.pressure_hz,
                                            telemetry.imu_hz + telemetry.pressure_hz > 0 ? 0.0 : telemetry.fix_hz});
        for (std::size_t m = 0; m < kFlightEvents.size(); ++m) {
            std::vector<double> errors_s;
            for (const TrialScore& score : flown.scores) {
                missed_all += missed(score, m);
                wrong_all += wrong(score, m);
                const FlightEventScore& event = score.flight_events[m];
                if (event.happened && event.found > 0) errors_s.push_back(std::abs(event.error_s));
            }
            if (errors_s.empty()) continue;
            std::nth_element(errors_s.begin(), errors_s.begin() + static_cast<long>(errors_s.size() / 2),
                             errors_s.end());
            worst_periods = std::max(worst_periods, errors_s[errors_s.size() / 2] * fastest_hz);
        }
        const auto available = [&](Quantity quantity) {
            Tally tally;
            for (const TrialScore& score : flown.scores) {
                tally.add(score.of(quantity, kAscent));
                tally.add(score.of(quantity, kDescent));
            }
            return text("%.0f %%", 100 * std::min(1.0, tally.available()));
        };
        sheet.row(flown.title,
                  {std::to_string(missed_all) + ", " + std::to_string(wrong_all), text("%.1f", worst_periods),
                   squares(flown, Quantity::altitude), squares(flown, Quantity::vertical_speed),
                   squares(flown, Quantity::east_north), squares(flown, Quantity::velocity_east_north),
                   square_cell(flown.scores, Quantity::long_axis, kAscent),
                   available(Quantity::altitude) + ", " + available(Quantity::east_north),
                   apogee_inside(Checkpoint::two_after_burnout)(flown.scores) + ", " +
                       apogee_inside(Checkpoint::three_before_apogee)(flown.scores),
                   lamp_cell(flown.scores, Lamp::vertical) + "; " + lamp_cell(flown.scores, Lamp::fixes),
                   sum([](const TrialScore& s) { return s.sensor_alerts; })(flown.scores)});
    }
    sheet.print();
}

void ground_table(const std::vector<Flown>& all) {
    using sim::TruePhase;
    static constexpr std::array kRest{TruePhase::on_the_rail, TruePhase::on_the_stand};
    Sheet sheet("On the ground", titles_of(all));
    sheet.row("false flight events", scores_of(all), sum([](const TrialScore& s) {
                  int found = 0;
                  for (const FlightEventScore& event : s.flight_events) found += event.found;
                  return found;
              }));
    sheet.row("charges fired", scores_of(all), sum([](const TrialScore& s) { return s.charges; }));
    sheet.row("pressure pulses found", scores_of(all), sum([](const TrialScore& s) { return s.pressure_pulses; }));
    sheet.row("shocks found", scores_of(all), sum([](const TrialScore& s) { return s.shocks; }));
    sheet.row("alerts about sensors", scores_of(all), sum([](const TrialScore& s) { return s.sensor_alerts; }));
    for (const Quantity quantity : {Quantity::altitude, Quantity::vertical_speed})
        sheet.row(text_of(quantity).title(), scores_of(all),
                  [=](const Scores& scores) { return errors_cell(scores, quantity, kRest); });
    sheet.print();
}

std::vector<Flown> fly_scenarios(const std::string& errors) {
    std::vector<Flown> out{fly({}, errors, "nominal"), fly({.radio = "rough"}, errors, "nominal, rough")};
    for (const char* scenario : {"late-drogue", "ballistic", "reboot-at-ejection", "gnss-loss", "barometer-failure"})
        out.push_back(fly({.scenario = scenario}, errors, scenario));
    return out;
}

std::vector<Flown> fly_ground(const std::string& errors) {
    return {fly({.scenario = "separation-test"}, errors, "separation-test"),
            fly({.scenario = "on-the-rail"}, errors, "on-the-rail")};
}

std::vector<Flown> fly_rates(const std::string& errors) {
    std::vector<Flown> out;
    for (const double hz : {1.0, 2.0, 5.0, 10.0, 25.0, 50.0})
        out.push_back(fly({.kit = "baro", .pressure_hz = hz}, errors, text("barometer %.0f Hz", hz)));
    for (const auto& [imu_hz, pressure_hz] :
         {std::pair{5.0, 5.0}, {10.0, 10.0}, {50.0, 25.0}, {100.0, 50.0}, {200.0, 25.0}})
        for (const std::size_t batch : {1U, 5U})
            out.push_back(fly({.kit = "all", .imu_hz = imu_hz, .pressure_hz = pressure_hz, .batch = batch}, errors,
                              text("inertial %.0f", imu_hz) + text("/%.0f Hz", pressure_hz) +
                                  (batch > 1 ? ", in fives" : ", single")));
    return out;
}

std::vector<Flown> fly_kits(const std::string& errors) {
    std::vector<Flown> out;
    for (const Kit& kit : kits()) out.push_back(fly({.kit = std::string(kit.name)}, errors, std::string(kit.name)));
    return out;
}

std::vector<Flown> fly_troubles(const std::string& errors) {
    std::vector<Flown> out;
    for (const Trouble& trouble : troubles()) {
        TrialCase trial_case{.trouble = std::string(trouble.name)};
        if (trouble.name == "boot-10") trial_case.scenario = "reboot-at-ejection";
        out.push_back(fly(trial_case, errors, std::string(trouble.summary)));
    }
    return out;
}

void report(const std::string& errors) {
    const sim::ErrorSet set = *sim::error_set_from_name(errors);
    std::printf("\n## Errors \"%s\"\n\n%s.\n", errors.c_str(), std::string(set.summary).c_str());
    const auto scenarios = fly_scenarios(errors);
    errors_table(scenarios);
    moments_table(scenarios);
    predictions_table(scenarios);
    ground_table(fly_ground(errors));
    if (errors != "acceptance") return;
    summary_table("Rates", fly_rates(errors));
    summary_table("What the vehicle measures", fly_kits(errors));
    summary_table("One thing worse", fly_troubles(errors));
}

/// What the tables show.
void preface() {
    std::printf(
        R"(%d flights of each case, seeds from 1, with the errors "acceptance" from %d: no estimator was tuned on those. The bytes of
the vehicle's transmitter go through the radio, the decoder, the clock and all estimators, and the results are compared with
the simulator's truth, which is scattered around what the estimators are told (`tools/sim/scenario/error_set.cpp`).

A cell of errors is: root mean square; in brackets the mean of (error / stated 1-sigma)², 1 is ideal, less is conservative, more
is overconfident; then the part of the time with an estimate not older than half a second. No answer counts as a miss. "rough"
is a radio with 10 %% loss, bit errors, bursts and fades of two seconds. The demo's own packets but where rates or kits are named.
The limits that tests hold these figures to are in `tests/trials`.
)",
        flights(), static_cast<int>(kAcceptanceFirst));
}

} // namespace

int main() {
    preface();
    const char* wish = std::getenv("TURNSTONE_ERRORS");
    for (const char* errors : {"ideal", "tuning", "acceptance"})
        if (wish == nullptr || std::string(wish) == errors) report(errors);
}
