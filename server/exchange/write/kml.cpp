#include <cmath>

#include "server/exchange/write/formats.hpp"
#include "server/exchange/write/text.hpp"
#include "server/exchange/write/track.hpp"

namespace turnstone::exchange {

namespace {

/// KML's "absolute" is above mean sea level. Without a height the place lies on the ground.
void put_coordinates(Output& out, const Position& at) {
    put_degrees(out, at.longitude_deg);
    out.put(",");
    put_degrees(out, at.latitude_deg);
    if (!std::isfinite(at.msl_m)) return;
    out.put(",");
    put_metres(out, at.msl_m);
}

std::string_view altitude_mode(const Position& at) {
    return std::isfinite(at.msl_m) ? "<altitudeMode>absolute</altitudeMode>" : "";
}

void put_event(Output& out, const Subject& subject, const PlacedEvent& event) {
    out.put("<Placemark><name>");
    put_xml_text(out, event.text);
    out.put("</name><TimeStamp><when>" + utc_text(subject.utc_ns(event.at.t_ns)) + "</when></TimeStamp><Point>");
    out.put(altitude_mode(event.at));
    out.put("<coordinates>");
    put_coordinates(out, event.at);
    out.put("</coordinates></Point></Placemark>\n");
}

} // namespace

Result<void> write_kml(const Subject& subject, const std::vector<ColumnChoice>& choices, Span span, Output& out,
                       Steps& steps) {
    Tracks tracks(subject, choices, span);
    out.put("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<kml xmlns=\"http://www.opengis.net/kml/2.3\" "
            "version=\"2.3\">\n<Document><name>");
    put_xml_text(out, subject.info.name.empty() ? subject.info.id : subject.info.name);
    out.put("</name>\n");
    for (const PlacedEvent& event : tracks.events()) put_event(out, subject, event);
    bool go_on = true;
    for (std::size_t p = 0; go_on && p < tracks.places().size(); ++p) {
        std::vector<Stretch> stretches;
        go_on = tracks.find_stretches(p, steps, stretches);
        for (const Stretch& stretch : stretches) {
            const bool is_line = stretch.positions > 1; // a line of one place is none
            out.put("<Placemark><name>");
            put_xml_text(out, tracks.places()[p].table->name);
            out.put("</name><TimeSpan><begin>" + utc_text(subject.utc_ns(stretch.span.from_ns)) + "</begin><end>" +
                    utc_text(subject.utc_ns(stretch.span.to_ns - 1)) + "</end></TimeSpan>");
            out.put(is_line ? "<LineString>" : "<Point>");
            tracks.start(p, stretch.span);
            bool first = true;
            while (go_on && !out.failed() && tracks.next()) {
                if (first) {
                    out.put(altitude_mode(tracks.position()));
                    out.put("<coordinates>\n");
                }
                first = false;
                put_coordinates(out, tracks.position());
                out.put("\n");
                go_on = steps.go_on(tracks.position().t_ns);
            }
            out.put(is_line ? "</coordinates></LineString></Placemark>\n" : "</coordinates></Point></Placemark>\n");
        }
    }
    out.put("</Document>\n</kml>\n");
    return ended(subject, out, !go_on);
}

} // namespace turnstone::exchange
