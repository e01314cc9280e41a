#include "server/debrief/comparison/compared_flight.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <string_view>

#include "server/analysis/statistics/summary.hpp"
#include "server/estimate/prediction/landing_case.hpp"
#include "shared/time.hpp"

namespace turnstone::debrief {

namespace {

constexpr double kNothing = std::numeric_limits<double>::quiet_NaN();
constexpr std::int64_t kShownBeforeNs = 5 * kNsPerS, kShownAfterNs = 10 * kNsPerS;
/// Before the first movement can have told of the flight.
constexpr std::int64_t kOnTheRailNs = kNsPerS;
constexpr std::int64_t kLookBackNs = 300 * kNsPerS;
/// A line is drawn on over this many missing rows.
constexpr double kRowsBridged = 3.5;

ComparedSeries series_of(const Recorded& recorded, std::size_t vehicle, const ComparedColumn& wanted, Window window,
                         std::int64_t liftoff_ns) {
    ComparedSeries out;
    const auto place = recorded.column(recorded.table(vehicle, wanted.table), wanted.column);
    if (!place) return out;
    out.title = place->about().title;
    out.unit = place->about().unit;
    out.decimals = place->about().decimals;
    std::vector<std::size_t> columns{place->column};
    if (const auto sigma = recorded.column(place->table, place->about().sigma_column)) columns.push_back(sigma->column);
    const SeriesBlock block = recorded.rows(*place->table, columns, window);
    std::vector<double> spacing_s;
    for (std::size_t i = 0; i < block.rows; ++i) {
        out.t_s.push_back(seconds_between(liftoff_ns, block.t_ns[i]));
        out.value.push_back(block.mean[i]);
        out.sigma.push_back(columns.size() > 1 ? block.mean[block.rows + i] : kNothing);
        if (i > 0) spacing_s.push_back(out.t_s[i] - out.t_s[i - 1]);
    }
    const double usual_s = analysis::median(spacing_s);
    out.bridged_s = kRowsBridged * std::max(place->table->period_s, std::isfinite(usual_s) ? usual_s : 0.0);
    return out;
}

/// The last row on the rail that says something: a computer that is busy passes rounds of predictions over.
std::optional<RowValues> last_said(const Recorded& recorded, const Table* table, const char* column,
                                   std::int64_t liftoff_ns) {
    const Window on_the_rail{liftoff_ns - kLookBackNs, liftoff_ns - kOnTheRailNs + 1};
    constexpr std::size_t kRows = 1000;
    std::optional<RowValues> last;
    for (const RowValues& row : recorded.rows_of(table, on_the_rail, kRows))
        if (std::isfinite(row.value(column))) last = row;
    return last;
}

/// What the last rows before the flight said of a figure.
std::optional<PredictedFigure> predicted_figure(std::string_view key, const std::optional<RowValues>& ascent,
                                                const std::optional<RowValues>& landing) {
    const auto of_ascent = [&](const char* column) -> std::optional<PredictedFigure> {
        if (!ascent || !std::isfinite(ascent->value(column))) return std::nullopt;
        return PredictedFigure{ascent->value(column), ascent->sigma(column)};
    };
    if (key == "apogee_m") return of_ascent("apogee_m");
    if (key == "apogee_s") return of_ascent("apogee_in_s");
    if (key != "landing_m" || !landing) return std::nullopt;
    const std::string likeliest = landing->word_of("likeliest");
    for (const estimate::LandingCaseWords& one : estimate::kLandingCases) {
        if (one.word != likeliest) continue;
        const std::string stem(one.stem);
        const double distance_m = std::hypot(landing->value(stem + "_east_m"), landing->value(stem + "_north_m"));
        if (std::isfinite(distance_m)) return PredictedFigure{distance_m, kNothing};
    }
    return std::nullopt;
}

} // namespace

ComparedFlight compared_flight(OpenFlight& flight) {
    const Recorded& recorded = flight.recorded();
    const Chapter& chapter = flight.chapter();
    const std::int64_t liftoff_ns = *chapter.liftoff_ns;
    ComparedFlight out;
    out.id = to_string(flight.id());
    out.utc_liftoff_ns = recorded.utc_ns(liftoff_ns);
    out.name = flight_name(chapter.name, out.utc_liftoff_ns);
    const Window shown{std::max(chapter.window.from_ns, liftoff_ns - kShownBeforeNs),
                       std::min(chapter.window.to_ns, chapter.flown().to_ns + kShownAfterNs)};
    out.from_s = seconds_between(liftoff_ns, shown.from_ns);
    out.to_s = seconds_between(liftoff_ns, shown.to_ns);
    const auto moment = [&](Alignment at, const std::optional<std::int64_t>& t_ns) {
        if (t_ns) out.moments_s[static_cast<std::size_t>(at)] = seconds_between(liftoff_ns, *t_ns);
    };
    moment(Alignment::liftoff, chapter.liftoff_ns);
    moment(Alignment::burnout, chapter.burnout_ns);
    moment(Alignment::apogee, chapter.apogee_ns);
    moment(Alignment::drogue_out, chapter.drogue_out_ns);
    for (std::size_t i = 0; i < kComparedColumns.size(); ++i)
        out.series[i] = series_of(recorded, chapter.vehicle, kComparedColumns[i], shown, liftoff_ns);

    const auto said = [&](const char* table, const char* column) {
        return last_said(recorded, recorded.table(chapter.vehicle, table), column, liftoff_ns);
    };
    const auto ascent = said("estimate/ascent", "apogee_m"), landing = said("estimate/landing", "nominal_east_m");
    out.figures = key_figures(recorded, chapter);
    for (const Figure& figure : out.figures) out.predicted.push_back(predicted_figure(figure.key, ascent, landing));
    if (const auto setup = flight.reader().setup())
        out.vehicle = nlohmann::json::parse(setup->vehicles.at(chapter.vehicle).vehicle_json, nullptr, false);
    if (out.vehicle.is_discarded()) out.vehicle = nullptr;
    return out;
}

} // namespace turnstone::debrief
