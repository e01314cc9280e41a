#pragma once
/// Everything that enters a pipeline besides bytes: what the operator does and what other parts of the station report.
/// They are recorded as inputs, so that replay and reprocessing meet them again at the same place.
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "server/estimate/event.hpp"
#include "server/pipeline/alert_state.hpp"
#include "server/pipeline/checklist/check.hpp"
#include "server/pipeline/checklist/procedure.hpp"
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
/// Of the marker or the note whose event has this key: another text or, without one, none of it any more.
struct ChangeMark {
    std::string key;
    std::optional<std::string> text = {};
    friend bool operator==(const ChangeMark&, const ChangeMark&) = default;
};
/// The flight that a vehicle is on at `t_ns` or, without one, now; or else its next one.
struct NameFlight {
    std::string vehicle;
    std::string name; ///< empty: none
    std::optional<std::int64_t> t_ns = {};
    friend bool operator==(const NameFlight&, const NameFlight&) = default;
};
/// The same flight. What is left out stays as it is.
struct DescribeFlight {
    std::string vehicle;
    std::optional<std::string> notes = {};
    std::optional<std::vector<std::string>> tags = {};
    std::optional<std::string> configuration = {}; ///< of the vehicle, in the crew's word
    std::optional<std::int64_t> t_ns = {};
    friend bool operator==(const DescribeFlight&, const DescribeFlight&) = default;
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
/// Of the station's countdown. `zero_ns` with `run`, `left_s` and `reason` perhaps with `hold`.
struct Countdown {
    CountdownStep step;
    std::optional<std::int64_t> zero_ns = {};
    std::optional<double> left_s = {};
    std::string reason = {}; ///< empty: not said
    friend bool operator==(const Countdown&, const Countdown&) = default;
};
enum class OperatorStep : unsigned char { unlocked, handed_over, left };
consteval auto words_of(OperatorStep) {
    return words<OperatorStep::left>("unlocked", "handed_over", "left");
}
/// A device got the operator's rights, took them from another, or gave them up.
struct OperatorChange {
    OperatorStep step;
    double operators; ///< devices that have them now
    friend bool operator==(const OperatorChange&, const OperatorChange&) = default;
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
/// The chunks of `link` that come next were received by another station. Times are that one's.
struct Relayed {
    std::string link;
    std::string clock;                       ///< which: each start of that station sets another
    std::int64_t sent_ns;                    ///< when it sent them on
    std::vector<double> heard_before_s = {}; ///< how long before that it had received each chunk
    friend bool operator==(const Relayed&, const Relayed&) = default;
};
/// Of publishing to a broker.
struct PublishReport {
    std::string fault; ///< empty: the broker has everything, or will in a moment
    friend bool operator==(const PublishReport&, const PublishReport&) = default;
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

enum class ProcedureStep : unsigned char { begin, end };
consteval auto words_of(ProcedureStep) {
    return words<ProcedureStep::end>("begin", "end");
}
/// An operator begins or ends a procedure of a vehicle. `by` here and below: initials of who says so.
struct ProcedureCommand {
    std::string vehicle;
    std::string procedure;
    ProcedureStep step;
    std::string by;
    friend bool operator==(const ProcedureCommand&, const ProcedureCommand&) = default;
};
enum class StepDeed : unsigned char {
    done,
    waive, ///< with a note: it is left out, and its checks with it
    repeat ///< it is under way again, and its checks begin again
};
consteval auto words_of(StepDeed) {
    return words<StepDeed::repeat>("done", "waive", "repeat");
}
/// Of a step of the vehicle's procedure that is under way.
struct StepCommand {
    std::string vehicle;
    std::string step;
    StepDeed deed;
    std::string by;
    std::string note = {};
    friend bool operator==(const StepCommand&, const StepCommand&) = default;
};
/// A person says whether what a check states is so. `t_ns` here and below: when, of what was said in the recording
/// before; empty: now.
struct CheckStatement {
    std::string vehicle;
    std::string check;
    bool holds;
    std::string by;
    std::string note = {};
    std::optional<std::int64_t> t_ns = {};
    friend bool operator==(const CheckStatement&, const CheckStatement&) = default;
};
/// An operator asks a position of the poll.
struct PollQuestion {
    std::string position;
    friend bool operator==(const PollQuestion&, const PollQuestion&) = default;
};
struct PollAnswer {
    std::string position;
    bool go;
    std::string by;
    std::string note = {};
    std::optional<std::int64_t> t_ns = {};
    friend bool operator==(const PollAnswer&, const PollAnswer&) = default;
};
/// A value that a person read from an instrument; its name ends in its unit.
struct Entered {
    std::string vehicle; ///< empty: of the place, for every vehicle
    std::string name;
    double value;
    std::string by;
    std::optional<std::int64_t> t_ns = {};
    friend bool operator==(const Entered&, const Entered&) = default;
};
/// What the station knows of itself; NaN is not written.
struct StationFigure {
    StationValue what;
    double value;
    std::optional<std::int64_t> t_ns = {};
    friend bool operator==(const StationFigure&, const StationFigure&) = default;
};
/// What earlier recordings say of a procedure.
struct PastProcedure {
    std::string vehicle;
    std::string procedure;
    double runs;                                ///< how often it was begun
    std::optional<std::int64_t> passed_ns = {}; ///< when it was last passed
    std::string recording = {};                 ///< in which that stands
    std::string sha256 = {};                    ///< of the bytes received in it, hexadecimal; empty: not known yet
    std::optional<std::int64_t> failed_ns = {}; ///< when it last failed
    std::vector<std::string> waived = {};       ///< titles of the steps that were waived when it was last passed
    /// Its newest verdict is a failure.
    [[nodiscard]] bool has_failed_since() const noexcept { return failed_ns > passed_ns; }
    friend bool operator==(const PastProcedure&, const PastProcedure&) = default;
};

/// A check of a procedure as it was when the recording before ended.
struct CarriedCheck {
    std::string id;
    CheckState state;
    std::optional<double> measured = {};
    std::optional<double> margin = {};
    std::int64_t t_ns = 0; ///< of what was measured
    std::string why = {};  ///< what stands behind it
    friend bool operator==(const CarriedCheck&, const CarriedCheck&) = default;
};
struct CarriedStep {
    std::string id;
    StepState state;
    std::string by = {}, note = {};
    friend bool operator==(const CarriedStep&, const CarriedStep&) = default;
};
/// A procedure that was under way when the recording before ended.
struct CarriedProcedure {
    std::string vehicle;
    std::string procedure;
    std::string by;
    double run;
    std::int64_t t_begun_ns;
    std::vector<CarriedStep> steps = {};
    std::vector<CarriedCheck> checks = {};
    friend bool operator==(const CarriedProcedure&, const CarriedProcedure&) = default;
};

/// What a check measures from, taken as somebody made a statement in the recording before. Without values: when the
/// check's column had its last one, which no older entry takes the place of.
struct CarriedBaseline {
    std::string vehicle;
    std::string procedure; ///< empty: the check is of the readiness board
    std::string check;
    std::vector<double> values = {};
    std::int64_t t_ns = 0; ///< of the statement, or of that last value
    friend bool operator==(const CarriedBaseline&, const CarriedBaseline&) = default;
};

/// What a readiness board said when its vehicle left, in the recording before.
struct CarriedVerdict {
    std::string vehicle;
    bool ready;
    std::vector<std::string> reasons = {};
    std::int64_t t_ns = 0;
    friend bool operator==(const CarriedVerdict&, const CarriedVerdict&) = default;
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

using Action =
    std::variant<Marker, Note, ChangeMark, NameFlight, DescribeFlight, Acknowledge, Shelve, Unshelve, Countdown,
                 OperatorChange, LinkReport, RecorderReport, Backlog, Relayed, PublishReport, Resumed, EngineTotal,
                 CarriedAlert, ProcedureCommand, StepCommand, CheckStatement, PollQuestion, PollAnswer, Entered,
                 StationFigure, PastProcedure, CarriedProcedure, CarriedBaseline, CarriedVerdict, UnknownAction>;

/// One line of JSON, {"action": KIND, ...}; times as decimal strings, since they pass 2^53.
[[nodiscard]] std::string to_json(const Action& action);
/// What to_json wrote. Anything else becomes an UnknownAction: an input is never lost.
[[nodiscard]] Action action_from_json(std::string_view text);

} // namespace turnstone
