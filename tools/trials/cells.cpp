#include "tools/trials/cells.hpp"

#include <algorithm>
#include <cstdio>

#include "server/pipeline/events.hpp"

namespace turnstone::trials {

namespace {

const std::string kNothing = "–";

Tally tally_of(const Scores& scores, Quantity quantity, std::span<const sim::TruePhase> phases) {
    Tally all;
    for (const TrialScore& score : scores) all.add(score.of(quantity, phases));
    return all;
}

bool holds(double square) {
    return square >= kSquareLeast && square <= kSquareMost;
}

std::string square(double mean) {
    const std::string number = text("%.2f", mean);
    return holds(mean) ? number : "**" + number + "**";
}

/// A prediction counts where the flight came that far.
bool is_asked(const TrialScore& score, Checkpoint checkpoint) {
    return score.predictions[static_cast<std::size_t>(checkpoint)].asked;
}

const PredictionScore& prediction(const TrialScore& score, Checkpoint checkpoint) {
    return score.predictions[static_cast<std::size_t>(checkpoint)];
}

Cell found_spread(std::size_t moment, double FlightEventScore::*member, double factor, const char* format) {
    return spread(
        [=](const TrialScore& score) {
            const FlightEventScore& event = score.flight_events[moment];
            return event.happened && event.found > 0 ? factor * std::abs(event.*member) : NAN;
        },
        format);
}

/// Characters, not bytes: cells hold letters beyond ASCII.
std::size_t width(const std::string& cell) {
    return static_cast<std::size_t>(std::count_if(
        cell.begin(), cell.end(), [](char c) { return (static_cast<unsigned char>(c) & 0xC0U) != 0x80U; }));
}

} // namespace

std::string text(const char* format, double value) {
    std::array<char, 40> out{};
    std::snprintf(out.data(), out.size(), format, value);
    return out.data();
}

std::string errors_cell(const Scores& scores, Quantity quantity, std::span<const sim::TruePhase> phases) {
    const Tally all = tally_of(scores, quantity, phases);
    if (!(all.lasted_s > 0)) return kNothing;
    std::string available = text("%.0f %%", 100 * std::min(1.0, all.available()));
    if (all.errors.count == 0) return available;
    const std::string rms = text(text_of(quantity).format, all.errors.rms());
    return all.errors.normalised_count > 0 ? rms + " (" + square(all.errors.normalised_square()) + ") " + available
                                           : rms + " " + available;
}

std::string warning_cell(const Scores& scores) {
    int unharmed = 0, warned = 0;
    for (const TrialScore& score : scores) {
        unharmed += std::isnan(score.harmed_s);
        warned += score.warned_s <= score.harmed_s;
    }
    const auto all = static_cast<int>(scores.size());
    const std::string safe = text("%.0f %%", 100.0 * unharmed / all);
    return unharmed == all ? safe : safe + ", " + text("%.0f %%", 100.0 * warned / (all - unharmed));
}

Cell spread(const std::function<double(const TrialScore&)>& value, const char* format) {
    return [=](const Scores& scores) -> std::string {
        std::vector<double> all;
        for (const TrialScore& score : scores)
            if (const double v = value(score); std::isfinite(v)) all.push_back(v);
        if (all.empty()) return kNothing;
        std::sort(all.begin(), all.end());
        return text(format, all[all.size() / 2]) + " / " + text(format, all.back());
    };
}

Cell median(const std::function<double(const TrialScore&)>& value, const char* format) {
    return [=](const Scores& scores) -> std::string {
        std::vector<double> all;
        for (const TrialScore& score : scores)
            if (const double v = value(score); std::isfinite(v)) all.push_back(v);
        if (all.empty()) return kNothing;
        const auto middle = all.begin() + static_cast<std::ptrdiff_t>(all.size() / 2);
        std::nth_element(all.begin(), middle, all.end());
        return text(format, *middle);
    };
}

Cell fraction(const std::function<bool(const TrialScore&)>& counts, const std::function<bool(const TrialScore&)>& hit) {
    return [=](const Scores& scores) -> std::string {
        int all = 0, hits = 0;
        for (const TrialScore& score : scores) {
            all += counts(score);
            hits += counts(score) && hit(score);
        }
        return all > 0 ? text("%.1f %%", 100.0 * hits / all) : kNothing;
    };
}

Cell sum(const std::function<int(const TrialScore&)>& value) {
    return [=](const Scores& scores) {
        int all = 0;
        for (const TrialScore& score : scores) all += value(score);
        return std::to_string(all);
    };
}

Cell moment_square(std::size_t moment) {
    return [=](const Scores& scores) {
        Errors all;
        for (const TrialScore& score : scores) {
            const FlightEventScore& event = score.flight_events[moment];
            if (event.happened && event.found > 0) all.add(event.error_s, event.sigma_s);
        }
        return all.normalised_count > 0 ? text("%.2f", all.normalised_square()) : kNothing;
    };
}

int missed(const TrialScore& score, std::size_t moment) {
    return score.flight_events[moment].happened && score.flight_events[moment].found == 0 ? 1 : 0;
}

int wrong(const TrialScore& score, std::size_t moment) {
    const FlightEventScore& event = score.flight_events[moment];
    return event.found - (event.happened && event.found > 0 ? 1 : 0);
}

Cell apogee_inside(Checkpoint checkpoint) {
    return fraction([=](const TrialScore& score) { return is_asked(score, checkpoint); },
                    [=](const TrialScore& score) { return prediction(score, checkpoint).apogee_inside; });
}

Cell landing_inside(Checkpoint checkpoint) {
    return fraction([=](const TrialScore& score) { return is_asked(score, checkpoint); },
                    [=](const TrialScore& score) { return prediction(score, checkpoint).landing_inside; });
}

std::string lamp_cell(const Scores& scores, Lamp lamp) {
    HealthTally all;
    for (const TrialScore& score : scores) all.add(score.lamps[static_cast<std::size_t>(lamp)]);
    if (all.rows == 0) return kNothing;
    return text("%.0f %%", 100.0 * all.consistent / all.rows) + ", " +
           text("%.0f %%", 100.0 * all.overconfident / all.rows);
}

Sheet::Sheet(std::string corner, std::vector<std::string> columns) {
    columns.insert(columns.begin(), std::move(corner));
    lines_.push_back(std::move(columns));
}

void Sheet::row(const std::string& name, const std::vector<std::string>& cells) {
    auto& line = lines_.emplace_back(cells);
    line.insert(line.begin(), name);
}

void Sheet::row(const std::string& name, const std::vector<Scores>& columns, const Cell& cell) {
    std::vector<std::string> cells;
    for (const Scores& scores : columns) cells.push_back(cell(scores));
    row(name, cells);
}

void Sheet::print() const {
    std::vector<std::size_t> widths(lines_.front().size(), 3);
    for (const auto& line : lines_)
        for (std::size_t c = 0; c < line.size(); ++c) widths[c] = std::max(widths[c], width(line[c]));
    std::printf("\n");
    for (std::size_t k = 0; k < lines_.size(); ++k) {
        for (std::size_t c = 0; c < widths.size(); ++c) {
            const std::string padding(widths[c] - width(lines_[k][c]), ' ');
            const std::string& cell = lines_[k][c];
            std::printf("| %s ", (c == 0 ? cell + padding : padding + cell).c_str());
        }
        std::printf("|\n");
        if (k > 0) continue;
        for (std::size_t c = 0; c < widths.size(); ++c)
            std::printf("|%s%s", std::string(widths[c] + 1, '-').c_str(), c == 0 ? "-" : ":");
        std::printf("|\n");
    }
}

void print_moments(const Scores& scores) {
    Sheet sheet("moment", {"happened", "missed", "false", "error, ms, median / worst", "(square)", "found after, s"});
    for (std::size_t m = 0; m < kFlightEvents.size(); ++m) {
        sheet.row(make_event({.id = kFlightEvents[m], .t_ns = 0}, 0).text,
                  {sum([m](const TrialScore& s) { return s.flight_events[m].happened ? 1 : 0; })(scores),
                   sum([m](const TrialScore& s) { return missed(s, m); })(scores),
                   sum([m](const TrialScore& s) { return wrong(s, m); })(scores),
                   found_spread(m, &FlightEventScore::error_s, 1e3, "%.0f")(scores), moment_square(m)(scores),
                   found_spread(m, &FlightEventScore::delay_s, 1, "%.2f")(scores)});
    }
    sheet.print();
}

void print_predictions(const Scores& scores) {
    Sheet sheet("prediction", {"apogee in 90 %", "none", "mean error, m", "error, m, median / worst", "landing in 95 %",
                               "none", "miss, m"});
    for (std::size_t k = 0; k < kCheckpoints; ++k) {
        const auto checkpoint = static_cast<Checkpoint>(k);
        const auto of = [checkpoint](const TrialScore& s) { return prediction(s, checkpoint); };
        const auto none = [=](double PredictionScore::*member) {
            return sum(
                [=](const TrialScore& s) { return is_asked(s, checkpoint) && std::isnan(of(s).*member) ? 1 : 0; });
        };
        double sum_m = 0;
        int count = 0;
        for (const TrialScore& score : scores) {
            if (!std::isfinite(of(score).apogee_error_m)) continue;
            sum_m += of(score).apogee_error_m;
            ++count;
        }
        sheet.row(to_string(checkpoint),
                  {apogee_inside(checkpoint)(scores), none(&PredictionScore::apogee_error_m)(scores),
                   count > 0 ? text("%.1f", sum_m / count) : kNothing,
                   spread([=](const TrialScore& s) { return std::abs(of(s).apogee_error_m); }, "%.1f")(scores),
                   landing_inside(checkpoint)(scores), none(&PredictionScore::miss_m)(scores),
                   spread([=](const TrialScore& s) { return of(s).miss_m; }, "%.0f")(scores)});
    }
    sheet.print();
}

std::vector<sim::TruePhase> phases_of(const std::vector<Scores>& all) {
    std::vector<sim::TruePhase> phases;
    for (std::size_t p = 0; p < kTruePhases; ++p) {
        const auto lasts = [&](const TrialScore& score) { return score.tallies[0][p].lasted_s > 0; };
        if (std::ranges::any_of(all, [&](const Scores& scores) { return std::ranges::any_of(scores, lasts); }))
            phases.push_back(static_cast<sim::TruePhase>(p));
    }
    return phases;
}

void print_errors_by_phase(const Scores& scores) {
    const std::vector<sim::TruePhase> phases = phases_of({scores});
    std::vector<std::string> names;
    for (const sim::TruePhase phase : phases) names.emplace_back(sim::to_string(phase));
    Sheet sheet("rms (mean of (error/1-sigma)²) available", names);
    for (std::size_t q = 0; q < kQuantities; ++q) {
        const auto quantity = static_cast<Quantity>(q);
        std::vector<std::string> cells;
        for (const sim::TruePhase& phase : phases) cells.push_back(errors_cell(scores, quantity, {&phase, 1}));
        sheet.row(text_of(quantity).title(), cells);
    }
    sheet.print();
}

} // namespace turnstone::trials
