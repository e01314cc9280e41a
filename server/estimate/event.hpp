#pragma once
/// Something that happened at a moment: phases, flight events, link states, alerts, markers.
#include <cstdint>
#include <string>

namespace turnstone {

/// Alert levels of 14 CFR 25.1322; `note` is everything that is no alert.
enum class Level : unsigned char { note, advisory, caution, warning };

enum class EventKind : unsigned char {
    phase,        ///< a phase began; text is its word
    flight_event, ///< apogee, ejection pulse, shock, ...
    link_state,   ///< opened, lost, refused, silent, ...
    reboot,
    alert_raised,
    alert_cleared, ///< same `key` as the alert it clears
    marker,        ///< operator
    note,          ///< operator
    recording      ///< named, begun, cut, closed, damaged, ...
};

/// Never dropped on the way to recorder or viewer.
struct Event {
    std::int64_t t_ns;       ///< when it happened (may be before it was found)
    std::int64_t t_found_ns; ///< when it was found
    double t_sigma_s;        ///< 1-sigma of t_ns; 0: exact
    EventKind kind;
    Level level;
    int vehicle;           ///< -1: none
    std::string key;       ///< stable identifier, e.g. "sanderling/phase/apogee", "link/radio/down"
    std::string text;      ///< one sentence for a person
    std::string data_json; ///< further values as a JSON object; "{}" when none
    friend bool operator==(const Event&, const Event&) = default;
};

} // namespace turnstone
