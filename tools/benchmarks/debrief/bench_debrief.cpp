// How good is what a debrief works out? Simulated flights through the whole station and the debrief, against the
// simulator's truth. Flies what is not flown yet, in slices of ten flights that are kept in a folder, and prints
// Markdown tables of all slices there; figures outside a demand are bold.
//
//     build/release/bin/bench_debrief --fly-only --first 5000 --flights 30
//     build/release/bin/bench_debrief --flights 0        # prints what has been flown
#include <algorithm>
#include <cinttypes>
#include <cstdio>
#include <set>
#include <stdexcept>
#include <string>

#include <CLI/CLI.hpp>

#include "tools/trials/cells.hpp"
#include "tools/trials/debrief/debrief_score.hpp"
#include "tools/trials/slices.hpp"

using namespace turnstone;
using namespace turnstone::trials;

namespace {

struct Wish {
    std::uint64_t first = 5000, flights = 300;
    std::filesystem::path folder = "build/trials/debrief";
    bool fly_only = false;
};

struct Flown {
    DebriefedFlights kind;
    const char* name;
    std::vector<DebriefScore> scores;
};

void fly(const Wish& wish, const Flown& of) {
    for (std::uint64_t done = 0; done < wish.flights; done += kSliceFlights) {
        const std::uint64_t count = std::min(kSliceFlights, wish.flights - done), first = wish.first + done;
        if (has_slice<DebriefScore>(wish.folder, of.name, first, count)) continue;
        std::fprintf(stderr, "%s, seeds %" PRIu64 " to %" PRIu64 "\n", of.name, first, first + count - 1);
        write_slice(wish.folder, of.name, first, debrief_scores(of.kind, first, static_cast<int>(count)));
    }
}

/// 1-sigma of a percentage of so many answers of which 95 % were to hold.
double chance(int answers) {
    return 100 * std::sqrt(0.95 * 0.05 / answers);
}

void intervals(const Flown& of) {
    Sheet sheet("", {"answered", "of", "truth in the 95 % interval", "demanded", "± by chance", "error, rms",
                     "interval, ±", "at most"});
    for (std::size_t f = 0; f < kDebriefFigures; ++f) {
        const auto figure = static_cast<DebriefFigure>(f);
        if (is_of_logging_flights(figure) != (of.kind == DebriefedFlights::logging)) continue;
        const IntervalDemand& demand = demand_of(figure);
        const Coverage found = coverage_of(figure, of.scores);
        const std::string unit = std::string(" ") + demand.unit;
        sheet.row(demand.title,
                  {found.said_percent.text("%.0f %%"), std::to_string(found.asked), found.held_percent.text("%.1f %%"),
                   text("%.0f", kHeldLeast) + " to " + text("%.0f %%", demand.held_most),
                   text("%.1f", chance(found.said)), found.error.text("%.2g") + unit, found.width.text("%.2g") + unit,
                   text("%g", demand.width_most) + unit});
    }
    sheet.print();
}

void smoothing(const Flown& of) {
    Sheet sheet("", {"filter, rms", "smoothed, rms", "ratio", "(error / sigma)², filter", "smoothed", "demanded",
                     "stated worse"});
    for (std::size_t s = 0; s < kSmoothed.size(); ++s) {
        const SmoothedErrors errors = smoothed_errors(s, of.scores);
        const SmoothedFigures figures = smoothed_figures(kSmoothed[s], errors, static_cast<int>(of.scores.size()));
        sheet.row(std::string("`") + kSmoothed[s] + "`",
                  {text("%.3f", errors.filter.rms()), text("%.3f", errors.both.rms()), figures.rms.text("%.2f"),
                   text("%.2f", errors.filter.normalised_square()), figures.square.text("%.2f"),
                   text("%.2f", figures.square.least) + " to " + text("%.2f", figures.square.most),
                   figures.worse.text("%.0f")});
    }
    sheet.print();
}

void print(const Flown& nominal, const Flown& logging, std::size_t builds) {
    std::printf(
        R"(%zu nominal flights on the mild radio and %zu logging flights whose fins steer by a schedule, with the errors "acceptance":
from the transmitter's bytes through the whole station, its recording and the debrief, against the simulator's truth. %s
Figures outside what is demanded (`tools/trials/debrief/debrief_demand.cpp`) are bold; the tests hold fewer flights to the same.
Below a hundred flights, percentages say little: of 30 answers, 95 %% are 28 or 29.
)",
        nominal.scores.size(), logging.scores.size(),
        builds == 1 ? "All of them by one build."
                    : ("**By " + std::to_string(builds) + " builds of the debrief.**").c_str());
    std::printf("\n## How the airframe follows its fins\n\nErrors and intervals are of the truth.\n");
    intervals(logging);
    std::printf("\n## Drag, motor, parachutes\n\nErrors and intervals are of the truth; of delays in seconds.\n");
    intervals(nominal);
    std::printf("\n## Smoothing\n\nSI units. \"Stated worse\": steps at which a smoothed sigma exceeds the filter's. "
                "Tilt: the nose's "
                "angle from vertical.\nAttitude: the angle to the truth, and a third of the three components' (error / "
                "sigma)².\n");
    smoothing(nominal);
}

} // namespace

int main(int argument_count, char** arguments) {
    Wish wish;
    CLI::App app{"Flies simulated flights through the debrief and prints how good its figures are."};
    app.add_option("--first", wish.first, "first seed, 5000 by default; below 1000 with the errors \"tuning\"");
    app.add_option("--flights", wish.flights, "of each kind, 300 by default; 0 flies none")
        ->envname("TURNSTONE_FLIGHTS");
    app.add_option("--folder", wish.folder, "where slices are kept");
    app.add_flag("--fly-only", wish.fly_only, "print no tables");
    CLI11_PARSE(app, argument_count, arguments);
    try {
        Flown all[] = {{DebriefedFlights::nominal, "nominal", {}}, {DebriefedFlights::logging, "logging", {}}};
        std::set<std::string> builds;
        for (Flown& of : all) {
            fly(wish, of);
            auto collected = collect<DebriefScore>(wish.folder, of.name);
            builds.merge(collected.builds);
            of.scores = std::move(collected.scores);
        }
        if (wish.fly_only) return 0;
        if (all[0].scores.empty() || all[1].scores.empty()) {
            std::printf("Nothing has been flown yet.\n");
            return 0;
        }
        print(all[0], all[1], builds.size());
    } catch (const std::exception& error) {
        std::fprintf(stderr, "bench_debrief: %s\n", error.what());
        return 1;
    }
    return 0;
}
