#pragma once
/// Everything that enters a pipeline besides bytes: what the operator does and what other parts of the station report.
/// They are recorded as inputs, so that replay and reprocessing meet them again at the same place.
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <variant>

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

/// One that this version does not know, from a recording of another version. It does nothing.
struct UnknownAction {
    std::string json; ///< word for word
    friend bool operator==(const UnknownAction&, const UnknownAction&) = default;
};

using Action = std::variant<Marker, Note, LinkReport, RecorderReport, Backlog, Resumed, EngineTotal, UnknownAction>;

/// One line of JSON, {"action": KIND, ...}; times as decimal strings, since they pass 2^53.
[[nodiscard]] std::string to_json(const Action& action);
/// What to_json wrote. Anything else becomes an UnknownAction: an input is never lost.
[[nodiscard]] Action action_from_json(std::string_view text);

} // namespace turnstone
