#include "server/report/chapters/happenings.hpp"

#include <algorithm>
#include <set>

#include <fmt/format.h>

#include "server/report/page/page.hpp"
#include "server/report/page/table.hpp"
#include "server/report/text/figure.hpp"

namespace turnstone::report {

namespace {

/// Lines of one chapter; what a broken sensor raises a thousand times is read by nobody.
constexpr std::size_t kLinesMost = 120;

bool concerns(const Event& event, int vehicle, Window window) {
    return event.t_ns >= window.from_ns && event.t_ns < window.to_ns && (event.vehicle < 0 || event.vehicle == vehicle);
}

/// The first event of that kind with the alert's key after it, before it is raised again.
const Event* followed_by(const std::vector<Event>& events, std::size_t raised, EventKind kind) {
    for (std::size_t i = raised + 1; i < events.size(); ++i) {
        if (events[i].key != events[raised].key) continue;
        if (events[i].kind == kind) return &events[i];
        if (events[i].kind == EventKind::alert_raised) return nullptr;
    }
    return nullptr;
}

Markup stroked_box(int strokes, bool filled) {
    // A box of 17 by 18 with upright strokes.
    std::string paths = filled ? "<path d=\"M1 1H16V17H1Z\" fill=\"currentColor\"/>"
                               : "<path d=\"M2 2H15V16H2Z\" fill=\"none\" stroke=\"currentColor\" stroke-width=\"2\"/>";
    for (int i = 0; i < strokes; ++i)
        paths += fmt::format("<path d=\"M{:.1f} 5V13\" stroke=\"{}\" stroke-width=\"1.8\"/>",
                             8.5 + 3.6 * (i - 0.5 * (strokes - 1)), filled ? "#fff" : "currentColor");
    return Markup::of_numbers("<svg class=\"strokes\" viewBox=\"0 0 17 18\" aria-hidden=\"true\">" + paths + "</svg>");
}

} // namespace

Markup level_mark(Level level) {
    switch (level) {
    case Level::warning: return element("span.warning", stroked_box(3, true) + Markup("Warning"));
    case Level::caution: return element("span.caution", stroked_box(2, false) + Markup("Caution"));
    case Level::advisory: return element("span.advisory", stroked_box(1, false) + Markup("Advisory"));
    case Level::note: break;
    }
    return Markup("Note");
}

Markup alerts_chapter(const Recorded& recorded, int vehicle, Window window, const ReportClock& clock) {
    LedgerTable table({{clock.title()}, {"Level"}, {"Alert", false, true}, {"until"}, {"acknowledged"}});
    const auto& events = recorded.events();
    for (std::size_t i = 0; i < events.size(); ++i) {
        if (events[i].kind != EventKind::alert_raised || !concerns(events[i], vehicle, window)) continue;
        const Event* cleared = followed_by(events, i, EventKind::alert_cleared);
        const Event* seen = followed_by(events, i, EventKind::alert_acknowledged);
        table.row({Markup::text(clock.text(events[i].t_ns)), level_mark(events[i].level), Markup::text(events[i].text),
                   Markup::text(cleared == nullptr ? "the end" : clock.text(cleared->t_ns)),
                   Markup::text(seen == nullptr ? "no" : clock.text(seen->t_ns))});
    }
    return chapter("Alerts", table.empty() ? element("p", "None.") : table.markup(kLinesMost));
}

Markup log_chapter(const Recorded& recorded, int vehicle, Window window, const ReportClock& clock) {
    LedgerTable table({{clock.title()}, {"Operators' log", false, true}});
    for (const Event& event : recorded.events()) {
        const bool of_people = event.kind == EventKind::marker || event.kind == EventKind::note ||
                               event.kind == EventKind::countdown || event.kind == EventKind::operators ||
                               what(event) == "entered";
        if (!of_people || !concerns(event, vehicle, window)) continue;
        const Markup text =
            event.kind == EventKind::marker ? Markup("Marker: ") + Markup::text(event.text) : Markup::text(event.text);
        table.row({Markup::text(clock.text(event.t_ns)), text});
    }
    return table.empty() ? Markup() : chapter("Log", table.markup(kLinesMost));
}

Markup events_chapter(const Recorded& recorded, int vehicle, Window window, const ReportClock& clock) {
    LedgerTable table({{clock.title()}, {"±", true}, {"Event", false, true}});
    static const std::set<EventKind> kShown{EventKind::flight_event, EventKind::link_state, EventKind::reboot,
                                            EventKind::recording};
    for (const Event& event : recorded.events()) {
        if (!kShown.contains(event.kind) || what(event) == "edge_found" || !concerns(event, vehicle, window)) continue;
        const std::string sigma = event.t_sigma_s > 0 ? significant(event.t_sigma_s, 1) + "\u00a0s" : "";
        table.row({Markup::text(clock.text(event.t_ns)), Markup::text(sigma), Markup::text(event.text)});
    }
    return table.empty() ? Markup() : chapter("Events", table.markup(kLinesMost));
}

} // namespace turnstone::report
