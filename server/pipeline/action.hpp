#pragma once
/// Everything that enters a pipeline besides bytes: what the operator does and what other parts of the station report.
/// They are recorded as inputs, so that replay and reprocessing meet them again at the same place.
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <variant>

#include "server/estimate/event.hpp"
#include "server/pipeline/alert_state.hpp"
#include "server/pipeline/countdown_step.hpp"
#include "shared/link_state.hpp"

namespace turnstone {

/// An operator's, at `t_ns` (behind the head of the tape) or, without one, now.
struct Marker {
    std::string text;
    std::optional<std::int64_t> t_ns = {};
    friend bool operator==(const Marker&, const Marker&) = default;
};
struct Note {
    std::string text;
    std::optional<std::int64_t> t_ns = {};
    friend bool operator==(const Note&, const Note&) = default;
};
/// An operator has seen the alert with this key.
struct Acknowledge {
    std::string key;
    friend bool operator==(const Acknowledge&, const Acknowledge&) = default;
};
/// An operator does not want to be told of it for a while.
struct Shelve {
    std::string key;
    double for_s; ///< of station time
    friend bool operator==(const Shelve&, const Shelve&) = default;
};
struct Unshelve {
    std::string key;
    friend bool operator==(const Unshelve&, const Unshelve&) = default;
};
/// Of the station's countdown. `zero_ns` with `run`, `left_s` perhaps with `hold`.
struct Countdown {
    CountdownStep step;
    std::optional<std::int64_t> zero_ns = {};
    std::optional<double> left_s = {};
    friend bool operator==(const Countdown&, const Countdown&) = default;
};
struct LinkReport {
    std::string link;
    LinkState state;
    std::string detail = {}; ///< why, for a person; empty when nothing is wrong
    friend bool operator==(const LinkReport&, const LinkReport&) = default;
};
struct RecorderReport {
    std::string fault;    ///< empty: recording works
    bool stopped = false; ///< by the fault: nothing is recorded, or bytes are lost
    friend bool operator==(const RecorderReport&, const RecorderReport&) = default;
};
/// The estimates are this far behind the links, because the computer is too slow; 0: they keep up. While they are
/// behind, no predictions start.
struct Backlog {
    double behind_s;
    friend bool operator==(const Backlog&, const Backlog&) = default;
};
/// The station stopped without closing the recording, which goes on here.
struct Resumed {
    std::int64_t t_last_ns; ///< of the last input before
    friend bool operator==(const Resumed&, const Resumed&) = default;
};
/// A vehicle's engine hours continue from what earlier recordings counted.
struct EngineTotal {
    std::string vehicle;
    double running_s;
    friend bool operator==(const EngineTotal&, const EngineTotal&) = default;
};

/// An alert that was raised or shelved when the recording before ended.
struct CarriedAlert {
    Event raised; ///< `vehicle` in it is of the setup before
    AlertState state;
    double shelved_s = 0;     ///< that is left; 0: not shelved
    std::string vehicle = {}; ///< empty: none
    friend bool operator==(const CarriedAlert&, const CarriedAlert&) = default;
};

/// One that this version does not know, from a recording of another version. It does nothing.
struct UnknownAction {
    std::string json; ///< word for word
    friend bool operator==(const UnknownAction&, const UnknownAction&) = default;
};

using Action = std::variant<Marker, Note, Acknowledge, Shelve, Unshelve, Countdown, LinkReport, RecorderReport, Backlog,
                            Resumed, EngineTotal, CarriedAlert, UnknownAction>;

/// One line of JSON, {"action": KIND, ...}; times as decimal strings, since they pass 2^53.
[[nodiscard]] std::string to_json(const Action& action);
/// What to_json wrote. Anything else becomes an UnknownAction: an input is never lost.
[[nodiscard]] Action action_from_json(std::string_view text);

} // namespace turnstone
