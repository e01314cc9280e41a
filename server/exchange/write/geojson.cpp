#include <cmath>

#include "server/exchange/write/formats.hpp"
#include "server/exchange/write/text.hpp"
#include "server/exchange/write/track.hpp"

namespace turnstone::exchange {

namespace {

/// RFC 7946, section 4: the third number is the height above the ellipsoid.
void put_position(Output& out, const Position& at) {
    out.put("[");
    put_degrees(out, at.longitude_deg);
    out.put(",");
    put_degrees(out, at.latitude_deg);
    if (std::isfinite(at.ellipsoid_m)) {
        out.put(",");
        put_metres(out, at.ellipsoid_m);
    }
    out.put("]");
}

/// The stretch's positions: `put` one at a time, with commas between. False: stopped.
template <class Put>
bool put_each(Tracks& tracks, std::size_t place, const Stretch& stretch, Output& out, Steps& steps, Put&& put) {
    tracks.start(place, stretch.span);
    for (bool first = true; !out.failed() && tracks.next(); first = false) {
        if (!first) out.put(",");
        put(tracks.position());
        if (!steps.go_on(tracks.position().t_ns)) return false;
    }
    return true;
}

} // namespace

Result<void> write_geojson(const Subject& subject, const std::vector<ColumnChoice>& choices, Span span, Output& out,
                           Steps& steps) {
    Tracks tracks(subject, choices, span);
    out.put("{\"type\":\"FeatureCollection\",\"features\":[");
    std::string_view between = "\n";
    for (const PlacedEvent& event : tracks.events()) {
        out.put(between);
        between = ",\n";
        out.put("{\"type\":\"Feature\",\"geometry\":{\"type\":\"Point\",\"coordinates\":");
        put_position(out, event.at);
        out.put("},\"properties\":{\"name\":");
        put_json_text(out, event.text);
        out.put(",\"utc\":[\"" + utc_text(subject.utc_ns(event.at.t_ns)) + "\"]}}");
    }
    bool go_on = true;
    for (std::size_t p = 0; go_on && p < tracks.places().size(); ++p) {
        std::vector<Stretch> stretches;
        go_on = tracks.find_stretches(p, steps, stretches);
        for (const Stretch& stretch : stretches) {
            const bool is_line = stretch.positions > 1;
            out.put(between);
            between = ",\n";
            out.put(is_line ? "{\"type\":\"Feature\",\"geometry\":{\"type\":\"LineString\",\"coordinates\":["
                            : "{\"type\":\"Feature\",\"geometry\":{\"type\":\"Point\",\"coordinates\":");
            go_on =
                go_on && put_each(tracks, p, stretch, out, steps, [&](const Position& at) { put_position(out, at); });
            out.put(is_line ? "]},\"properties\":{\"name\":" : "},\"properties\":{\"name\":");
            put_json_text(out, tracks.places()[p].table->name);
            out.put(",\"utc\":[");
            go_on = go_on && put_each(tracks, p, stretch, out, steps, [&](const Position& at) {
                        out.put("\"" + utc_text(subject.utc_ns(at.t_ns)) + "\"");
                    });
            out.put("]}}");
        }
    }
    out.put("\n]}\n");
    return ended(subject, out, !go_on);
}

} // namespace turnstone::exchange
