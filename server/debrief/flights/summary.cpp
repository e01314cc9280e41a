#include "server/debrief/flights/summary.hpp"

#include <algorithm>
#include <cmath>
#include <string>
#include <utility>
#include <vector>

#include "server/debrief/flights/flight_id.hpp"
#include "server/debrief/flights/key_figures.hpp"
#include "server/debrief/flights/silences.hpp"
#include "shared/time.hpp"

namespace turnstone::debrief {

namespace {

using nlohmann::json;

constexpr std::size_t kCurvePoints = 120;

json number_or_null(double value) {
    return std::isfinite(value) ? json(value) : json(nullptr);
}

double thousandths(double value) {
    return std::round(value * 1e3) / 1e3;
}

/// Altitude against seconds since liftoff; null where nothing was heard.
json curve_of(const Recorded& recorded, const Chapter& chapter) {
    json t_s = json::array(), altitude_m = json::array(), phases = json::array();
    const Window flown = chapter.flown();
    for (const ChapterPhase& phase : chapter.phases)
        phases.push_back(
            {{"phase", phase.word}, {"from_s", thousandths(seconds_between(*chapter.liftoff_ns, phase.t_ns))}});
    const std::pair<std::string_view, std::string_view> sources[] = {{"estimate/vertical", "altitude_m"},
                                                                     {"estimate/navigation", "up_m"}};
    for (const auto& [table, column] : sources) {
        const auto place = recorded.column(recorded.table(chapter.vehicle, table), column);
        if (!place) continue;
        const SeriesBlock block = recorded.rows(*place->table, {place->column}, flown, kCurvePoints);
        if (block.rows == 0) continue;
        const auto silent = silent_times(recorded, chapter.vehicle, flown);
        for (std::size_t i = 0; i < block.rows; ++i) {
            const std::int64_t t_ns = block.t_ns[i];
            const bool heard = std::ranges::none_of(
                silent, [t_ns](const SilentTime& gap) { return t_ns > gap.from_ns && t_ns < gap.to_ns; });
            t_s.push_back(thousandths(seconds_between(*chapter.liftoff_ns, t_ns)));
            altitude_m.push_back(heard ? number_or_null(std::round(block.mean[i] * 10) / 10) : json(nullptr));
        }
        break;
    }
    return {{"t_s", std::move(t_s)}, {"altitude_m", std::move(altitude_m)}, {"phases", std::move(phases)}};
}

/// The gravest alert of the flight, the first of its level; null: none.
json worst_of(const Recorded& recorded, const Chapter& chapter) {
    const Event* worst = nullptr;
    for (const Event& event : recorded.events()) {
        if (event.kind != EventKind::alert_raised || event.vehicle != static_cast<int>(chapter.vehicle) ||
            event.t_ns < *chapter.liftoff_ns || event.t_ns >= chapter.window.to_ns)
            continue;
        if (worst == nullptr || event.level > worst->level) worst = &event;
    }
    if (worst == nullptr) return nullptr;
    return {{"level", word(worst->level)}, {"sentence", worst->text}};
}

} // namespace

json figures_json(const Recorded& recorded, const Chapter& chapter) {
    json figures = json::array();
    for (const Figure& figure : key_figures(recorded, chapter))
        figures.push_back({{"key", figure.key},
                           {"title", figure.title},
                           {"unit", figure.unit},
                           {"value", number_or_null(figure.value)},
                           {"sigma", number_or_null(figure.sigma)}});
    return figures;
}

json summary_of(const Recorded& recorded, const Chapter& chapter) {
    const Window flown = chapter.flown();
    const std::string& vehicle = recorded.vehicle_name(chapter.vehicle);
    const std::int64_t start_ns = recorded.info().t_start_ns;
    const auto on_tape = [&](std::int64_t t_ns) { return thousandths(seconds_between(start_ns, t_ns)); };
    return {{"id", to_string(FlightId{recorded.info().id, vehicle, chapter.number})},
            {"recording", recorded.info().id},
            {"vehicle", vehicle},
            {"title", recorded.setup().vehicles[chapter.vehicle].title},
            {"number", chapter.number},
            {"name", chapter.name},
            {"notes", chapter.notes},
            {"tags", chapter.tags},
            {"configuration", chapter.configuration},
            {"site", recorded.setup().site.name},
            {"utc_liftoff_ns", std::to_string(recorded.utc_ns(*chapter.liftoff_ns))},
            {"liftoff_s", on_tape(*chapter.liftoff_ns)},
            {"from_s", on_tape(chapter.window.from_ns)},
            {"to_s", on_tape(chapter.window.to_ns)},
            {"duration_s", thousandths(seconds_between(flown.from_ns, flown.to_ns))},
            {"ended", word(chapter.ended)},
            {"figures", figures_json(recorded, chapter)},
            {"curve", curve_of(recorded, chapter)},
            {"lost_share", number_or_null(lost_fraction(recorded, chapter.vehicle, flown))},
            {"worst", worst_of(recorded, chapter)},
            {"damage", recorded.damage()}};
}

} // namespace turnstone::debrief
