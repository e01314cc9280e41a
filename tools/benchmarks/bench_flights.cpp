// How good the estimates are: every scenario, rate, vehicle and trouble of the trials through the whole station,
// against the simulator's truth. Flies what is not flown yet, in slices of ten flights that are kept in a folder, and
// prints Markdown tables of all slices there: what is demanded, what falls short, and every figure.
//
//     build/release/bin/bench_flights --fly-only --cases baro fix --first 5000 --flights 50
//     build/release/bin/bench_flights --flights 0        # prints what has been flown
//
// look_at_flights shows one case more closely.
#include <algorithm>
#include <array>
#include <cinttypes>
#include <cmath>
#include <cstdio>
#include <functional>
#include <set>
#include <string>
#include <vector>

#include <CLI/CLI.hpp>

#include "server/pipeline/events.hpp"
#include "tools/trials/acceptance.hpp"
#include "tools/trials/case_list.hpp"
#include "tools/trials/cells.hpp"
#include "tools/trials/slices.hpp"
#include "tools/trials/trial.hpp"

using namespace turnstone;
using namespace turnstone::trials;

namespace {

struct Wish {
    std::string errors = "acceptance";
    std::vector<std::string> cases;
    std::uint64_t first = 0; ///< 0: the set's own
    std::uint64_t flights = 200;
    std::filesystem::path folder = "build/trials";
    bool fly_only = false;

    /// Seeds below 1000 are for tuning; of 5000 and more tuning sees none.
    [[nodiscard]] std::uint64_t first_seed() const {
        if (first > 0) return first;
        return errors == "acceptance" ? 5000 : 1;
    }
};

struct Flown {
    ListedCase listed;
    Scores scores;
    std::vector<Mark> marks;
};
using Flights = std::vector<Flown>;

void fly(const Wish& wish) {
    for (ListedCase listed : listed_cases(wish.cases)) {
        listed.trial_case.errors = wish.errors;
        const std::uint64_t first = wish.first_seed();
        for (std::uint64_t done = 0; done < wish.flights; done += kSliceFlights) {
            const std::uint64_t count = std::min(kSliceFlights, wish.flights - done);
            if (has_slice<TrialScore>(wish.folder / wish.errors, listed.name, first + done, count)) continue;
            std::fprintf(stderr, "%s, seeds %" PRIu64 " to %" PRIu64 "\n", listed.name.c_str(), first + done,
                         first + done + count - 1);
            write_slice(wish.folder / wish.errors, listed.name, first + done,
                        run_trials(scenario_of(listed.trial_case), first + done, static_cast<int>(count)));
        }
    }
}

Flights collect_all(const Wish& wish, std::set<std::string>& builds) {
    Flights out;
    for (ListedCase listed : listed_cases(wish.cases)) {
        listed.trial_case.errors = wish.errors;
        auto collected = collect<TrialScore>(wish.folder / wish.errors, listed.name);
        if (collected.scores.empty()) continue;
        builds.merge(collected.builds);
        std::vector<Mark> marks = marks_of(listed, collected.scores);
        out.push_back({std::move(listed), std::move(collected.scores), std::move(marks)});
    }
    return out;
}

/// A table of one line a case.
void table(const std::string& corner, const std::vector<std::string>& columns, const Flights& all,
           const std::function<std::vector<std::string>(const Flown&)>& cells) {
    Sheet sheet(corner, columns);
    for (const Flown& flown : all) sheet.row(flown.listed.title, cells(flown));
    sheet.print();
}

/// How many of the figures meet it, and the one that is farthest outside or, with none outside, nothing.
struct Tallied {
    int met = 0, all = 0;
    const Mark* worst = nullptr;
    const Flown* of = nullptr;
    void add(const Mark& mark, const Flown& flown) {
        ++all;
        met += mark.met();
        if (mark.met() || (worst != nullptr && worst->beyond() >= mark.beyond())) return;
        worst = &mark;
        of = &flown;
    }
    [[nodiscard]] std::string count() const {
        return all > 0 ? std::to_string(met) + " of " + std::to_string(all) : "–";
    }
};

Tallied tallied(const Flown& flown, Demand demand) {
    Tallied out;
    for (const Mark& mark : flown.marks)
        if (mark.demand == demand) out.add(mark, flown);
    return out;
}

/// Ten lines with the head, which DEVELOPERS.md repeats.
void in_short(const Flights& all) {
    using enum Demand;
    struct Line {
        const char* text;
        std::vector<Demand> demands;
    };
    const std::vector<Line> lines{
        {"(error / sigma)², of quantities by phase and of moments: 0.5 to 2", {sigmas, moment_sigmas}},
        {"moments missed or false: none, rough at most 2 in 1000", {moments}},
        {"median error of a moment: at most 1.5 sample periods", {moment_times}},
        {"apogee in its 90 % interval: 85 to 95 % of flights", {apogees}},
        {"landing in its 95 % ellipse: 90 to 98 % of flights", {landings}},
        {"position once fixes are back for 1 s: 99 % of the time", {position}},
        {"a prediction when it is shown: at most 0.5 s old", {age}},
        {"health consistent in 95 % of rows; warned before harm in 90 % of flights", {consistent, warned}}};
    Sheet sheet("Demand on the estimates", {"met, usual errors", "met, one thing worse", "farthest outside"});
    for (const Line& line : lines) {
        Tallied usual, worse, both;
        for (const Flown& flown : all) {
            for (const Mark& mark : flown.marks) {
                if (std::ranges::find(line.demands, mark.demand) == line.demands.end()) continue;
                (flown.listed.group == CaseGroup::troubles ? worse : usual).add(mark, flown);
                both.add(mark, flown);
            }
        }
        const std::string farthest =
            both.worst == nullptr ? "–" : both.worst->text() + " " + both.worst->about + ", " + both.of->listed.name;
        sheet.row(line.text, {usual.count(), worse.count(), farthest});
    }
    sheet.print();
}

/// A column a demand, a line a case: how many figures meet it, and the worst.
void acceptance(const Flights& all) {
    const std::vector<std::string> columns{
        "flights",  "sigmas", "moments' sigmas", "missed or false", "moments' times", "apogees", "landings",
        "position", "age",    "consistent",      "warned",          "CPU s a flight"};
    table("figures that meet the demand; the worst of the others", columns, all, [](const Flown& flown) {
        std::vector<std::string> cells{std::to_string(flown.scores.size())};
        for (std::size_t d = 0; d < kDemands; ++d) {
            const Tallied of = tallied(flown, static_cast<Demand>(d));
            const bool one = of.all == 1 && of.worst == nullptr;
            std::string cell = of.count();
            for (const Mark& mark : flown.marks)
                if (one && mark.demand == static_cast<Demand>(d)) cell = mark.text();
            cells.push_back(of.worst == nullptr ? cell : cell + ", " + of.worst->text());
        }
        double cpu_s = 0;
        for (const TrialScore& score : flown.scores) cpu_s += score.cpu_s;
        cells.push_back(text("%.2f", cpu_s / static_cast<double>(flown.scores.size())));
        return cells;
    });
}

/// Every figure outside, the farthest first.
void out_of_range(const Flights& all) {
    for (std::size_t d = 0; d < kDemands; ++d) {
        std::vector<std::pair<const Mark*, const Flown*>> outside;
        for (const Flown& flown : all)
            for (const Mark& mark : flown.marks)
                if (mark.demand == static_cast<Demand>(d) && !mark.met()) outside.emplace_back(&mark, &flown);
        if (outside.empty()) continue;
        std::ranges::stable_sort(outside,
                                 [](const auto& a, const auto& b) { return a.first->beyond() > b.first->beyond(); });
        Sheet sheet(text_of(static_cast<Demand>(d)), {"of", "figure", "± by chance", "outside by"});
        for (const auto& [mark, flown] : outside)
            sheet.row(flown->listed.title,
                      {mark->about, mark->text(), std::isnan(mark->chance) ? "" : text("%.2f", mark->chance),
                       text("%.2f", mark->beyond())});
        sheet.print();
    }
}

/// Health as the lamps say it, whatever is demanded of them.
void lamps(const Flights& all) {
    std::printf("\n## Health: per cent of judged rows \"consistent\", then \"overconfident\" or worse\n");
    table("", {"vertical filter", "GNSS fixes", "pressure altitude", "no harm; warned before it", "sensor alerts"}, all,
          [](const Flown& flown) -> std::vector<std::string> {
              return {lamp_cell(flown.scores, Lamp::vertical), lamp_cell(flown.scores, Lamp::fixes),
                      lamp_cell(flown.scores, Lamp::heights), warning_cell(flown.scores),
                      sum([](const TrialScore& s) { return s.sensor_alerts; })(flown.scores)};
          });
}

void predictions(const Flights& all) {
    std::vector<std::string> before_apogee, names;
    for (std::size_t k = 0; k < kCheckpoints; ++k) {
        const auto checkpoint = static_cast<Checkpoint>(k);
        names.push_back(to_string(checkpoint));
        if (checkpoint < Checkpoint::apogee) before_apogee.push_back(to_string(checkpoint));
    }
    const auto each = [](std::size_t count, const std::function<std::string(std::size_t)>& cell) {
        std::vector<std::string> out;
        for (std::size_t k = 0; k < count; ++k) out.push_back(cell(k));
        return out;
    };
    std::printf("\n## Apogee: truth in the 90 %% interval; median error, %% of apogee\n");
    table("", before_apogee, all, [&](const Flown& flown) {
        return each(before_apogee.size(), [&](std::size_t k) {
            return apogee_inside(static_cast<Checkpoint>(k))(flown.scores) + "; " + median([k](const TrialScore& s) {
                       return 100 * std::abs(s.predictions[k].apogee_error_m) / s.true_apogee_m;
                   })(flown.scores);
        });
    });
    std::printf(
        "\n## Landing: truth in the 95 %% ellipse of the case that happened; median miss of its semi-major axis, m\n");
    table("", names, all, [&](const Flown& flown) {
        return each(names.size(), [&](std::size_t k) {
            return landing_inside(static_cast<Checkpoint>(k))(flown.scores) + "; " +
                   median([k](const TrialScore& s) { return s.predictions[k].miss_m; }, "%.0f")(flown.scores) + " of " +
                   median([k](const TrialScore& s) { return s.predictions[k].semi_major_m; }, "%.0f")(flown.scores);
        });
    });
}

void moments(const Flights& all) {
    std::printf("\n## Moments: missed, false; median error in ms (mean square of error over sigma); found after, s\n");
    std::vector<std::string> names;
    for (const EventId id : kFlightEvents) names.push_back(make_event({.id = id, .t_ns = 0}, 0).text);
    table("", names, all, [](const Flown& flown) {
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

void quantities(const Flights& all) {
    std::vector<Scores> scores;
    for (const Flown& flown : all) scores.push_back(flown.scores);
    const std::vector<sim::TruePhase> phases = phases_of(scores);
    std::vector<std::string> names;
    for (const sim::TruePhase phase : phases) names.emplace_back(sim::to_string(phase));
    for (std::size_t q = 0; q < kQuantities; ++q) {
        const auto quantity = static_cast<Quantity>(q);
        std::printf("\n## Errors of %s\n", text_of(quantity).title().c_str());
        table("", names, all, [&](const Flown& flown) {
            std::vector<std::string> cells;
            for (const sim::TruePhase& phase : phases)
                cells.push_back(errors_cell(flown.scores, quantity, {&phase, 1}));
            return cells;
        });
    }
}

void ground(const Flights& all) {
    std::printf("\n## On the ground\n");
    table("", {"false flight events", "charges fired", "pressure pulses found", "shocks found", "sensor alerts"}, all,
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
void preface(const Wish& wish, const Flights& all, const std::set<std::string>& builds) {
    const sim::ErrorSet set = *sim::error_set_from_name(wish.errors);
    std::size_t fewest = SIZE_MAX, most = 0;
    double cpu_s = 0;
    for (const Flown& flown : all) {
        fewest = std::min(fewest, flown.scores.size());
        most = std::max(most, flown.scores.size());
        for (const TrialScore& score : flown.scores) cpu_s += score.cpu_s;
    }
    std::printf(
        R"(%s flights of each of %zu cases, %.1f hours of one core, with the errors "%s": %s.
%s The bytes of the vehicle's transmitter go through the radio, the decoder, the clock and all estimators, and the results are
compared with the simulator's truth, which is scattered around what the estimators are told
(`tools/sim/scenario/error_set.cpp`). Seeds below 1000 with the errors "tuning" are for tuning, which never sees those
from 5000 with "acceptance". Below a hundred flights of a case, percentages of flights say little.

A line is a case: a scenario of the demo vehicle, "rough" on a radio with 10 %% loss, bit errors, bursts and fades of two
seconds; then rates; vehicles with less; and the nominal flight with one thing worse. Figures outside what is demanded
(`tools/trials/acceptance.hpp`) are bold. No answer counts as a miss. A cell of errors is: root mean square; in brackets the mean of
(error / stated 1-sigma)², 1 is ideal, less is conservative, more is overconfident; then the part of the time with an
estimate not older than half a second or one and a half samples. Harm is any error beyond %.0f of its stated 1-sigma; a warning
is a lamp at "overconfident" or worse, or an alert about a sensor. The limits that tests hold these figures to are in
`tests/trials`.

One square cannot be kept: that of speed under thrust where a launch shows late, by a barometer or fixes alone. Before a
sample shows it, it has happened with probability p = r T, at a rate r of launches and T after the last sample. Who weighs
rest and flight by that says no speed, with a 1-sigma of √p of a launch's, and is off by 1/√p of it: a square of 1 / (r T),
whatever the speed. The vertical filter takes a launch in fifty seconds: 500 a tenth of a second later, and thousands where a
height reads low by chance and speaks for rest. Two such rows of the twenty of a burn make its mean 40 and more, though all
the others are within a sigma. To expect more launches is to speak of them all day.

Nor can the time of apogee, within one and a half periods of an inertial sensor at 200 Hz, 7.5 ms. Only heights and fixes say
that the climb is over, and how late they are is known to 30 and 80 ms (vehicle.json): 20 ms by the barometer's median alone.

Ten seconds before touchdown the ellipse is the gusts below. Those of "acceptance" are 1.4 times the specification's on every
day, where the estimators expect 1.2 over many days. A calm, a usual and a gusty day side by side, weighed by the drift seen,
were tried: a descent shows too little of them, and as many landings lay inside (90 of 100, "tuning" with gusts of 1.5).
)",
        (fewest == most ? std::to_string(most) : std::to_string(fewest) + " to " + std::to_string(most)).c_str(),
        all.size(), cpu_s / 3600, wish.errors.c_str(), std::string(set.summary).c_str(),
        builds.size() == 1 ? "All of them by one build of the estimators."
                           : ("**By " + std::to_string(builds.size()) + " builds of the estimators.**").c_str(),
        TrialScore::kHarm);
}

void print(const Wish& wish) {
    std::set<std::string> builds;
    const Flights all = collect_all(wish, builds);
    if (all.empty()) {
        std::printf("Nothing has been flown yet.\n");
        return;
    }
    Flights in_flight, on_ground;
    for (const Flown& flown : all) (flown.listed.group == CaseGroup::ground ? on_ground : in_flight).push_back(flown);
    preface(wish, all, builds);
    std::printf("\n## In short\n");
    in_short(all);
    std::printf("\n## Case by case\n");
    acceptance(all);
    std::printf("\n## Out of range\n");
    out_of_range(all);
    lamps(in_flight);
    moments(in_flight);
    predictions(in_flight);
    quantities(all);
    if (!on_ground.empty()) ground(on_ground);
}

} // namespace

int main(int argument_count, char** arguments) {
    Wish wish;
    CLI::App app{"Flies simulated flights through the whole station and prints how good its estimates are."};
    app.add_option("--errors", wish.errors, "error set: ideal, tuning or acceptance")->envname("TURNSTONE_ERRORS");
    app.add_option("--cases", wish.cases, "only cases with one of these words in their names")
        ->envname("TURNSTONE_CASES");
    app.add_option("--first", wish.first, "first seed; by default 5000 of \"acceptance\", 1 of the others");
    app.add_option("--flights", wish.flights, "of each case, 200 by default; 0 flies none")
        ->envname("TURNSTONE_FLIGHTS");
    app.add_option("--folder", wish.folder, "where slices are kept");
    app.add_flag("--fly-only", wish.fly_only, "print no tables");
    CLI11_PARSE(app, argument_count, arguments);
    try {
        if (!sim::error_set_from_name(wish.errors)) throw std::runtime_error("no error set " + wish.errors);
        fly(wish);
        if (!wish.fly_only) print(wish);
    } catch (const std::exception& error) {
        std::fprintf(stderr, "bench_flights: %s\n", error.what());
        return 1;
    }
}
