#include "server/report/flight/pictures.hpp"

#include <algorithm>
#include <cmath>

#include "server/report/chapters/links.hpp"
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

/// A column in the unit people read, with the band of its sigma where it has one.
Strip strip_of(const Recorded& recorded, const Flight& flight, const ColumnPlace& place) {
    const Column& column = place.about();
    const ShownUnit unit = shown_unit(column.unit);
    Trace trace = recorded.trace(place, flight.window, flight.liftoff_ns, kPoints);
    if (trace.low.empty()) {
        // Every row, so that each value has its own sigma.
        const auto sigma = recorded.column(place.table, column.sigma_column);
        const Trace width = sigma ? recorded.trace(*sigma, flight.window, flight.liftoff_ns, kPoints) : Trace{};
        if (width.y.size() == trace.y.size())
            for (std::size_t i = 0; i < trace.y.size(); ++i) {
                trace.low.push_back(trace.y[i] - width.y[i]);
                trace.high.push_back(trace.y[i] + width.y[i]);
            }
    }
    for (auto* values : {&trace.y, &trace.low, &trace.high})
        for (double& value : *values) value = unit.shown(value);
    const std::string title = column.title + (unit.symbol.empty() ? "" : ", " + unit.symbol);
    Strip strip{.title = title, .lines = {{std::move(trace)}}};
    for (const ColumnLimit& limit : column.limits)
        strip.limits.push_back(
            {unit.shown(limit.value), (limit.is_low ? "least " : "most ") +
                                          fixed(unit.shown(limit.value), shown_decimals(unit, column.decimals))});
    return strip;
}

/// The greatest or least value that a strip shows, beside its title.
void say_extreme(Strip& strip, bool greatest, const ShownUnit& unit, int decimals) {
    const Trace& trace = strip.lines.front().trace;
    std::size_t best = trace.y.size();
    for (std::size_t i = 0; i < trace.y.size(); ++i)
        if (std::isfinite(trace.y[i]) &&
            (best == trace.y.size() || (greatest ? trace.y[i] > trace.y[best] : trace.y[i] < trace.y[best])))
            best = i;
    if (best == trace.y.size()) return;
    strip.figure = fixed(trace.y[best], shown_decimals(unit, decimals)) + "\u00a0" + unit.symbol;
    strip.note = std::string(greatest ? "greatest, " : "least, ") + flight_clock(trace.t[best]);
}

std::vector<Strip> strips_of(const Recorded& recorded, const Flight& flight) {
    struct Wanted {
        const char* table;
        const char* column;
        bool greatest;
    };
    constexpr Wanted kWanted[] = {{"estimate/vertical", "altitude_m", true},
                                  {"estimate/vertical", "vertical_speed_mps", true},
                                  {"estimate/vertical", "acceleration_mps2", true},
                                  {"estimate/navigation", "tilt_deg", true},
                                  {"estimate/navigation", "rate_x_degps", true}};
    std::vector<Strip> strips;
    const auto add = [&](const std::optional<ColumnPlace>& place, bool greatest) {
        if (!place) return;
        Strip strip = strip_of(recorded, flight, *place);
        if (strip.lines.front().trace.t.empty()) return;
        say_extreme(strip, greatest, shown_unit(place->about().unit), place->about().decimals);
        strips.push_back(std::move(strip));
    };
    for (const Wanted& wanted : kWanted)
        add(recorded.column(recorded.table(flight.vehicle, wanted.table), wanted.column), wanted.greatest);
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
    chart.strip_height = chart.strips.size() > 4 ? 96 : 120;
    for (const FlightPhase& phase : flight.phases)
        chart.tints.push_back({seconds_between(flight.liftoff_ns, phase.t_ns),
                               seconds_between(flight.liftoff_ns, phase.until_ns), ground_of(phase.word), phase.word});
    for (const SilentTime& gap : silent_times(recorded, flight.vehicle, flight.window))
        chart.gaps.push_back(
            {seconds_between(flight.liftoff_ns, gap.from_ns), seconds_between(flight.liftoff_ns, gap.to_ns)});
    const Markup picture = drawn(chart);
    if (picture.empty()) return {};
    return kept_chapter(
        "Course",
        element("figure",
                picture +
                    element("figcaption",
                            chart.gaps.empty()
                                ? "Bands: one standard deviation, or the extremes where many readings share a place."
                                : "Bands: one standard deviation, or the extremes where many readings share a place. "
                                  "Hatched: no good frame.")));
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
