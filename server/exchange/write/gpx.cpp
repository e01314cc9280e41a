#include <cmath>

#include "server/exchange/write/formats.hpp"
#include "server/exchange/write/text.hpp"
#include "server/exchange/write/track.hpp"

namespace turnstone::exchange {

namespace {

void put_point(Output& out, const Subject& subject, std::string_view element, const Position& at,
               std::string_view name = {}) {
    out.put("<");
    out.put(element);
    out.put(" lat=\"");
    put_degrees(out, at.latitude_deg);
    out.put("\" lon=\"");
    put_degrees(out, at.longitude_deg);
    out.put("\">");
    if (std::isfinite(at.msl_m)) {
        out.put("<ele>");
        put_metres(out, at.msl_m);
        out.put("</ele>");
    }
    out.put("<time>");
    out.put(utc_text(subject.utc_ns(at.t_ns)));
    out.put("</time>");
    if (!name.empty()) {
        out.put("<name>");
        put_xml_text(out, name);
        out.put("</name>");
    }
    out.put("</");
    out.put(element);
    out.put(">\n");
}

} // namespace

Result<void> write_gpx(const Subject& subject, const std::vector<ColumnChoice>& choices, Span span, Output& out,
                       Steps& steps) {
    Tracks tracks(subject, choices, span);
    out.put("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"
            "<gpx version=\"1.1\" creator=\"Turnstone\" xmlns=\"http://www.topografix.com/GPX/1/1\">\n"
            "<metadata><name>");
    put_xml_text(out, subject.info.name.empty() ? subject.info.id : subject.info.name);
    out.put("</name><time>" + utc_text(subject.info.utc_start_ns) + "</time></metadata>\n");
    for (const PlacedEvent& event : tracks.events()) put_point(out, subject, "wpt", event.at, event.text);
    bool go_on = true;
    for (std::size_t p = 0; go_on && p < tracks.places().size(); ++p) {
        std::vector<Stretch> stretches;
        go_on = tracks.find_stretches(p, steps, stretches);
        out.put("<trk><name>");
        put_xml_text(out, tracks.places()[p].table->name);
        out.put("</name>\n");
        for (const Stretch& stretch : stretches) {
            out.put("<trkseg>\n");
            tracks.start(p, stretch.span);
            while (go_on && !out.failed() && tracks.next()) {
                put_point(out, subject, "trkpt", tracks.position());
                go_on = steps.go_on(tracks.position().t_ns);
            }
            out.put("</trkseg>\n");
        }
        out.put("</trk>\n");
    }
    out.put("</gpx>\n");
    return ended(subject, out, !go_on);
}

} // namespace turnstone::exchange
