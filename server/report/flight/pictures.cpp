#include "server/report/flight/pictures.hpp"

#include <cmath>
#include <optional>
#include <string>

#include "server/debrief/flights/silences.hpp"
#include "server/report/draw/map_chart.hpp"
#include "server/report/flight/outcome.hpp"
#include "server/report/flight/predicted_landing.hpp"
#include "server/report/page/page.hpp"
#include "server/report/text/figure.hpp"
#include "shared/geodesy.hpp"
#include "shared/time.hpp"

namespace turnstone::report {

namespace {

/// About one for each place on paper.
constexpr std::size_t kPoints = 600;

Ground ground_of(const std::string& phase) {
    if (phase == "under thrust") return Ground::under_thrust;
    if (phase == "coasting") return Ground::coasting;
    if (phase.starts_with("falling")) return Ground::falling;
    if (phase == "under drogue") return Ground::under_drogue;
    if (phase == "under main") return Ground::under_main;
    if (phase == "down" || phase == "presumed down") return Ground::down;
    return Ground::plain;
}

/// A line in the unit people read, with the band of its sigma where every row is drawn, and its greatest or least
/// value. Empty when there is none.
std::optional<Strip> strip_of(const Recorded& recorded, const Flight& flight, const ColumnPlace& place, bool greatest) {
    const Column& column = place.about();
    const ShownUnit unit = shown_unit(column.unit);
    Trace trace = recorded.trace(place, flight.window, flight.liftoff_ns, kPoints);
    const auto sigma_place = recorded.column(place.table, column.sigma_column);
    const std::vector<double> sigmas =
        sigma_place ? recorded.trace(*sigma_place, flight.window, flight.liftoff_ns, kPoints).y : std::vector<double>();
    const bool extremes = !trace.low.empty();
    const bool with_sigmas = sigmas.size() == trace.y.size();
    const auto& candidates = !extremes ? trace.y : greatest ? trace.high : trace.low;
    std::size_t best = candidates.size();
    for (std::size_t i = 0; i < candidates.size(); ++i)
        if (std::isfinite(candidates[i]) &&
            (best == candidates.size() ||
             (greatest ? candidates[i] > candidates[best] : candidates[i] < candidates[best])))
            best = i;
    if (best == candidates.size()) return std::nullopt;
    Strip strip{.title = column.title, .lines = {}};
    strip.figure = quantity(candidates[best], with_sigmas ? sigmas[best] : std::nan(""), column.decimals, column.unit);
    strip.note = std::string(greatest ? "greatest, " : "least, ") + flight_clock(trace.t[best]);
    if (!extremes && with_sigmas)
        for (std::size_t i = 0; i < sigmas.size(); ++i) {
            trace.low.push_back(trace.y[i] - sigmas[i]);
            trace.high.push_back(trace.y[i] + sigmas[i]);
        }
    for (auto* values : {&trace.y, &trace.low, &trace.high})
        for (double& value : *values) value = unit.shown(value);
    strip.lines.push_back({std::move(trace)});
    for (const ColumnLimit& limit : column.limits)
        strip.limits.push_back(
            {unit.shown(limit.value),
             (limit.is_low ? "least " : "most ") + quantity(limit.value, std::nan(""), column.decimals, column.unit)});
    return strip;
}

std::vector<Strip> strips_of(const Recorded& recorded, const Flight& flight) {
    struct Wanted {
        const char* table;
        const char* column;
    };
    constexpr Wanted kWanted[] = {{"estimate/vertical", "altitude_m"},
                                  {"estimate/vertical", "vertical_speed_mps"},
                                  {"estimate/vertical", "acceleration_mps2"},
                                  {"estimate/navigation", "tilt_deg"},
                                  {"estimate/navigation", "rate_x_degps"}};
    std::vector<Strip> strips;
    const auto add = [&](const std::optional<ColumnPlace>& place, bool greatest) {
        if (!place) return;
        if (auto strip = strip_of(recorded, flight, *place, greatest)) strips.push_back(std::move(*strip));
    };
    for (const Wanted& wanted : kWanted)
        add(recorded.column(recorded.table(flight.vehicle, wanted.table), wanted.column), true);
    add(recorded.with_role(flight.vehicle, {"battery_voltage"}), false);
    return strips;
}

} // namespace

Markup course_chapter(const Recorded& recorded, const Flight& flight) {
    StripChart chart;
    chart.from = seconds_between(flight.liftoff_ns, flight.window.from_ns);
    chart.to = seconds_between(flight.liftoff_ns, flight.window.to_ns);
    chart.clock = true;
    chart.strips = strips_of(recorded, flight);
    chart.strip_height = chart.strips.size() > 4 ? 76 : 88;
    for (const FlightPhase& phase : flight.phases)
        chart.tints.push_back({seconds_between(flight.liftoff_ns, phase.t_ns),
                               seconds_between(flight.liftoff_ns, phase.until_ns), ground_of(phase.word), phase.word});
    for (const debrief::SilentTime& gap : debrief::silent_times(recorded, flight.vehicle, flight.window))
        chart.gaps.push_back(
            {seconds_between(flight.liftoff_ns, gap.from_ns), seconds_between(flight.liftoff_ns, gap.to_ns)});
    const Markup picture = drawn(chart);
    if (picture.empty()) return {};
    const std::string caption =
        std::string("Bands: one standard deviation, or the extremes where many readings share a place.") +
        (chart.gaps.empty() ? "" : " Hatched: no good frame.");
    return kept_chapter("Course", element("figure", picture + element("figcaption", caption)));
}

Markup map_chapter(const Recorded& recorded, const Flight& flight) {
    const Table* navigation = recorded.table(flight.vehicle, "estimate/navigation");
    const auto east = recorded.column(navigation, "east_m");
    const auto north = recorded.column(navigation, "north_m");
    if (!east || !north) return {};
    MapChart map;
    const Window flown{flight.liftoff_ns, flight.window.to_ns};
    MapTrack track{recorded.trace(*east, flown, flight.liftoff_ns, kPoints).y,
                   recorded.trace(*north, flown, flight.liftoff_ns, kPoints).y};
    if (track.east_m.empty() || track.east_m.size() != track.north_m.size()) return {};
    map.tracks.push_back(std::move(track));
    map.places.push_back({0, 0, "pad"});
    if (const auto place = landing_place(recorded, flight))
        map.places.push_back({place->east_m, place->north_m, flight.touchdown_ns ? "down" : "last known"});
    const std::int64_t asked_ns = flight.liftoff_ns - kNsPerS;
    if (const auto predicted = predicted_landing(recorded, flight.vehicle, asked_ns))
        map.ellipses.push_back({predicted->east_m, predicted->north_m, predicted->semi_major_m, predicted->semi_minor_m,
                                predicted->bearing_deg, "predicted on the rail, 95 %"});
    const Site& site = recorded.setup().site;
    const LocalFrame frame(site.pad);
    for (const GeodeticPosition& corner : site.boundary) {
        const auto enu = frame.to_enu_m({corner.latitude_deg, corner.longitude_deg, site.pad.height_m});
        map.boundary_east_m.push_back(enu.x());
        map.boundary_north_m.push_back(enu.y());
    }
    return kept_chapter(
        "From above", element("figure", drawn(map) + element("figcaption", "Metres from the pad, north up. Chain line: "
                                                                           "the site's boundary. Dotted: where it was "
                                                                           "predicted to come down.")));
}

} // namespace turnstone::report
