// How good the estimates are: every scenario of the simulator through the whole station, against the
// simulator's truth. Prints Markdown tables. TURNSTONE_FLIGHTS sets the flights of each scenario (100).
#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <functional>
#include <string>
#include <utility>
#include <vector>

#include "server/pipeline/events.hpp"
#include "tools/trials/trial.hpp"

using namespace turnstone;
using namespace turnstone::trials;

namespace {

struct Column {
    std::string scenario;
    std::string impairment = "clean";
    [[nodiscard]] std::string title() const { return impairment == "clean" ? scenario : scenario + ", " + impairment; }
};

const std::vector<Column> kFlights{{"nominal"},          {"nominal", "rough"},   {"late-drogue"},
                                   {"ballistic"},        {"reboot-at-ejection"}, {"gnss-loss"},
                                   {"barometer-failure"}};
const std::vector<Column> kGround{{"separation-test"}, {"on-the-rail"}};

using Scores = std::vector<TrialScore>;
using Cell = std::function<std::string(const Scores&)>;

std::string text(const char* format, double value) {
    std::array<char, 40> out{};
    std::snprintf(out.data(), out.size(), format, value);
    return out.data();
}

void head(const std::string& first, const std::vector<Column>& columns) {
    std::printf("\n| %s |", first.c_str());
    for (const Column& column : columns) std::printf(" %s |", column.title().c_str());
    std::printf("\n|---|");
    for (std::size_t k = 0; k < columns.size(); ++k) std::printf("---:|");
    std::printf("\n");
}

void line(const std::string& name, const std::vector<Scores>& columns, const Cell& cell) {
    std::printf("| %s |", name.c_str());
    for (const Scores& scores : columns) std::printf(" %s |", cell(scores).c_str());
    std::printf("\n");
}

/// Root mean square over all flights, and in brackets the mean of (error / sigma)^2.
Cell errors(Errors TrialScore::*member, const char* format) {
    return [=](const Scores& scores) -> std::string {
        Errors all;
        for (const TrialScore& score : scores) all.add(score.*member);
        if (all.count == 0) return "–";
        std::string out = text(format, all.rms());
        return all.normalised_count > 0 ? out + " (" + text("%.1f", all.normalised_square()) + ")" : out;
    };
}

Cell mean(double TrialScore::*member) {
    return [=](const Scores& scores) -> std::string {
        double sum = 0;
        int count = 0;
        for (const TrialScore& score : scores) {
            if (!std::isfinite(score.*member)) continue;
            sum += score.*member;
            ++count;
        }
        return count > 0 ? text("%.2f", sum / count) : "–";
    };
}

/// "median / worst" of what `value` gives; NaN is left out.
Cell spread(const std::function<double(const TrialScore&)>& value, const char* format) {
    return [=](const Scores& scores) -> std::string {
        std::vector<double> all;
        for (const TrialScore& score : scores)
            if (const double v = value(score); std::isfinite(v)) all.push_back(v);
        if (all.empty()) return "–";
        std::sort(all.begin(), all.end());
        return text(format, all[all.size() / 2]) + " / " + text(format, all.back());
    };
}

/// Fraction for which `hit` holds among those `counts` counts.
Cell fraction(const std::function<bool(const TrialScore&)>& counts, const std::function<bool(const TrialScore&)>& hit) {
    return [=](const Scores& scores) -> std::string {
        int all = 0, hits = 0;
        for (const TrialScore& score : scores) {
            all += counts(score);
            hits += counts(score) && hit(score);
        }
        return all > 0 ? text("%.1f %%", 100.0 * hits / all) : "–";
    };
}

Cell sum(const std::function<int(const TrialScore&)>& value) {
    return [=](const Scores& scores) {
        int all = 0;
        for (const TrialScore& score : scores) all += value(score);
        return std::to_string(all);
    };
}

std::vector<Scores> fly(const std::vector<Column>& columns, int count) {
    std::vector<Scores> out;
    for (const Column& column : columns) {
        std::fprintf(stderr, "%d flights: %s\n", count, column.title().c_str());
        out.push_back(run_trials(trial_scenario(column.scenario, column.impairment), 1, count));
    }
    return out;
}

void errors_table(const std::vector<Scores>& all) {
    head("Root mean square error (mean of (error/1-sigma)², 1 is ideal)", kFlights);
    line("time of a packet, ms", all, [](const Scores& scores) {
        Errors all_s;
        for (const TrialScore& score : scores) all_s.add(score.time_stamp_s);
        return all_s.count > 0 ? text("%.2f", 1e3 * all_s.rms()) : "–";
    });
    line("air data: altitude AGL, m", all, errors(&TrialScore::air_altitude_m, "%.1f"));
    line("air data: Mach, ascent", all, errors(&TrialScore::mach, "%.3f"));
    line("air data: dynamic pressure, ascent, Pa", all, errors(&TrialScore::dynamic_pressure_pa, "%.0f"));
    line("vertical: altitude AGL, ascent, m", all, errors(&TrialScore::altitude_up_m, "%.1f"));
    line("vertical: altitude AGL, descent, m", all, errors(&TrialScore::altitude_down_m, "%.1f"));
    line("vertical: speed, ascent, m/s", all, errors(&TrialScore::vertical_speed_up_mps, "%.2f"));
    line("vertical: speed, descent, m/s", all, errors(&TrialScore::vertical_speed_down_mps, "%.2f"));
    line("navigation: position, ascent, m per axis", all, errors(&TrialScore::position_up_m, "%.1f"));
    line("navigation: position, descent, m per axis", all, errors(&TrialScore::position_down_m, "%.1f"));
    line("navigation: velocity, ascent, m/s per axis", all, errors(&TrialScore::velocity_up_mps, "%.2f"));
    line("navigation: velocity, descent, m/s per axis", all, errors(&TrialScore::velocity_down_mps, "%.2f"));
    line("navigation: long axis, ascent, deg", all, errors(&TrialScore::long_axis_deg, "%.2f"));
    line("NIS of fixes per degree of freedom", all, mean(&TrialScore::fix_nis));
    line("NIS of heights", all, mean(&TrialScore::height_nis));
    line("antenna: azimuth, deg", all, errors(&TrialScore::azimuth_deg, "%.2f"));
    line("antenna: elevation, deg", all, errors(&TrialScore::elevation_deg, "%.2f"));
}

void flight_events_table(const std::vector<Scores>& all) {
    head("Flight events, median / worst", kFlights);
    for (std::size_t m = 0; m < kFlightEvents.size(); ++m) {
        const std::string name = make_event({.id = kFlightEvents[m], .t_ns = 0}, 0).text;
        const auto found = [m](const TrialScore& s) {
            return s.flight_events[m].happened && s.flight_events[m].found > 0;
        };
        line(name + ": error, ms", all,
             spread([=](const TrialScore& s) { return found(s) ? 1e3 * std::abs(s.flight_events[m].error_s) : NAN; },
                    "%.0f"));
        line(
            name + ": error in 1-sigma, rms", all,
            [=](const Scores& scores) {
                Errors sum_of;
                for (const TrialScore& s : scores) {
                    if (found(s)) sum_of.add(s.flight_events[m].error_s, s.flight_events[m].sigma_s);
                }
                return sum_of.normalised_count > 0 ? text("%.2f", std::sqrt(sum_of.normalised_square())) : "–";
            });
        line(name + ": found after, s", all,
             spread([=](const TrialScore& s) { return found(s) ? s.flight_events[m].delay_s : NAN; }, "%.2f"));
        line(name + ": missed, false", all, [m](const Scores& scores) {
            int missed = 0, wrong = 0;
            for (const TrialScore& s : scores) {
                missed += s.flight_events[m].happened && s.flight_events[m].found == 0;
                wrong += s.flight_events[m].found - (s.flight_events[m].happened && s.flight_events[m].found > 0);
            }
            return std::to_string(missed) + ", " + std::to_string(wrong);
        });
    }
}

void impact_line(const std::vector<Scores>& all) {
    line("Impact that ends telemetry, presumed from silence: error, s", all,
         spread([](const TrialScore& s) { return std::abs(s.presumed_impact_error_s); }, "%.2f"));
}

void predictions_table(const std::vector<Scores>& all) {
    head("Predictions", kFlights);
    for (std::size_t k = 0; k < kCheckpoints; ++k) {
        const auto of = [k](const TrialScore& s) -> const PredictionScore& { return s.predictions[k]; };
        const std::string when = to_string(static_cast<Checkpoint>(k));
        if (static_cast<Checkpoint>(k) < Checkpoint::apogee) {
            const auto made = [=](const TrialScore& s) { return std::isfinite(of(s).apogee_error_m); };
            line("apogee " + when + ": truth in 90 % interval", all,
                 fraction(
                     made, [=](const TrialScore& s) { return of(s).apogee_inside; }));
            line("apogee " + when + ": error, % of apogee", all,
                 spread([=](const TrialScore& s) { return 100 * std::abs(of(s).apogee_error_m) / s.true_apogee_m; },
                        "%.2f"));
        }
        const auto made = [=](const TrialScore& s) { return std::isfinite(of(s).miss_m); };
        line("landing " + when + ": truth in 95 % ellipse", all,
             fraction(
                 made, [=](const TrialScore& s) { return of(s).landing_inside; }));
        line("landing " + when + ": miss, m", all, spread([=](const TrialScore& s) { return of(s).miss_m; }, "%.0f"));
        line("landing " + when + ": ellipse semi-major axis, m", all,
             spread([=](const TrialScore& s) { return of(s).semi_major_m; }, "%.0f"));
    }
}

void ground_table(const std::vector<Scores>& all) {
    head("On the ground", kGround);
    line("false flight events", all, sum([](const TrialScore& s) {
             int wrong = 0;
             for (const FlightEventScore& event : s.flight_events) wrong += event.found;
             return wrong;
         }));
    line("charges fired", all, sum([](const TrialScore& s) { return s.charges; }));
    line("pressure pulses found", all, sum([](const TrialScore& s) { return s.pressure_pulses; }));
    line("shocks found", all, sum([](const TrialScore& s) { return s.shocks; }));
    line("alerts about sensors", all, sum([](const TrialScore& s) { return s.sensor_alerts; }));
    line("vertical: altitude AGL, m", all, errors(&TrialScore::altitude_up_m, "%.1f"));
    line("vertical: speed, m/s", all, errors(&TrialScore::vertical_speed_up_mps, "%.2f"));
}

/// What the tables show, and their known limits.
void preface(int count) {
    std::printf(
        R"(%d flights of each scenario, seeds 1 to %d. The bytes of the demo vehicle's transmitter go through the radio, the decoder,
the clock and all estimators, and the results are compared with the simulator's truth. Thrust, drag, mass, rail, wind, air
and parachutes of each flight are scattered around what the estimators are told. In brackets: the mean of (error / stated
1-sigma)²: 1 is ideal, less is conservative, more is overconfident. "rough" is a radio with 10 %% loss, bit errors, bursts
and fades of two seconds.

Known limits: where a parachute fails, the "nominal" landing is wrong until that parachute's time is past. On a tethered
stand the charges upset vertical speed for seconds, by more than its sigma says. After a reboot under a parachute navigation
has no usable attitude until the vehicle rests. Three seconds before apogee, on the rough radio, the interval is too narrow.
The limits that tests hold these figures to are in `tests/trials`.
)",
        count, count);
}

} // namespace

int main() {
    const char* wish = std::getenv("TURNSTONE_FLIGHTS");
    const int count = wish != nullptr ? std::max(1, std::atoi(wish)) : 100;
    const auto flights = fly(kFlights, count);
    const auto ground = fly(kGround, count);
    preface(count);
    errors_table(flights);
    flight_events_table(flights);
    impact_line(flights);
    predictions_table(flights);
    ground_table(ground);
}
