#pragma once
/// A check, as people write it in the files of a vehicle's folder: what is measured, and between which limits it holds.
/// Schema: protocol/schema/procedure.schema.json, "check". What comes of it: server/monitor/checks.
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "server/estimate/event.hpp"
#include "shared/words.hpp"

namespace turnstone {

enum class CheckState : unsigned char {
    waits,        ///< for a first value, a newer one, an event, a person
    holds,        ///< within its limits
    fails,        ///< beyond them
    not_evaluated ///< there is nothing to measure it by
};
consteval auto words_of(CheckState) {
    return words<CheckState::not_evaluated>("waits", "holds", "fails", "not_evaluated");
}

enum class Severity : unsigned char { must, should };
consteval auto words_of(Severity) {
    return words<Severity::should>("must", "should");
}

/// What a check is about: the member of the file that says so.
enum class CheckSubject : unsigned char {
    value,     ///< one column, or the length of a vector of several
    event,     ///< when an event happened after another, or a figure that it carries
    count,     ///< how often an event happened
    gap,       ///< the longest time between rows of a table
    alert,     ///< alerts that are raised
    passed,    ///< days since a procedure was last passed
    statement, ///< a person confirms it
    entered,   ///< a person reads it from an instrument
    station,   ///< what the station knows of itself
    says       ///< whether a text column says what it is to say
};
consteval auto words_of(CheckSubject) {
    return words<CheckSubject::says>("value", "event", "count", "gap", "alert", "passed", "statement", "entered",
                                     "station", "says");
}

/// What of a column's values is held against the limits.
enum class Measure : unsigned char {
    newest,
    // Over the last `over_s`
    mean,
    greatest,
    least,
    noise,  ///< sample standard deviation
    spread, ///< greatest less least
    // Since the check began
    stuck, ///< seconds since the value last changed
    drop,  ///< most that it fell below its greatest before: 0 of one that only rises
    climb, ///< most that it rose above its least before
    // About an event
    change,   ///< newest less the mean before the event
    peak,     ///< farthest from the mean before the event, with its sign
    rise,     ///< seconds from a tenth to nine tenths of the peak
    duration, ///< seconds for which it is beyond half of the peak
    impulse,  ///< integral over time of what is above the mean before the event
    back,     ///< seconds until it stays within `tolerance` of the mean before the event
    left,     ///< seconds until it comes to `until`, at the rate of the last `over_s`
    turned    ///< degrees between gravity in the vehicle's axes as the statement `since` was made, and now
};
consteval auto words_of(Measure) {
    return words<Measure::turned>("newest", "mean", "greatest", "least", "noise", "spread", "stuck", "drop", "climb",
                                  "change", "peak", "rise", "duration", "impulse", "back", "left", "turned");
}

/// Whether it is taken about the newest event `after`.
[[nodiscard]] constexpr bool is_about_event(Measure measure) noexcept {
    return measure >= Measure::change && measure <= Measure::back;
}

/// What a value can be compared with besides another column.
enum class Reference : unsigned char {
    gravity,         ///< normal gravity at the pad, m/s2
    pad_pressure,    ///< of the site file, Pa
    pad_temperature, ///< of the site file, K
    forecast_wind    ///< of the site file, lowest layer, m/s
};
consteval auto words_of(Reference) {
    return words<Reference::forecast_wind>("gravity", "pad_pressure", "pad_temperature", "forecast_wind");
}

/// What a station knows of itself and tells the pipeline (StationFigure).
enum class StationValue : unsigned char {
    disk_left_h ///< hours until the disk is full, at the rate at which the recording grows
};
consteval auto words_of(StationValue) {
    return words<StationValue::disk_left_h>("disk_left_h");
}

/// A column of any table, or several that are one vector. Tables are named without their vehicle.
struct ColumnRef {
    std::string vehicle = {}; ///< empty: the vehicle that the file is about
    std::string table = {};   ///< "imu.samples", "estimate/vertical"; empty: that of a link
    std::string link = {};    ///< a link's name, or "any" for the best of those that carry the vehicle
    std::vector<std::string> columns = {};
    [[nodiscard]] bool empty() const noexcept { return columns.empty(); }
    friend bool operator==(const ColumnRef&, const ColumnRef&) = default;
};

struct EventRef {
    EventId event;
    std::string about = {};  ///< which, where there may be several: the end of its key, or a text that it carries
    std::string figure = {}; ///< a number that it carries: "peak_mps2"
    friend bool operator==(const EventRef&, const EventRef&) = default;
};

struct Check {
    std::string id;    ///< unique in its file, [a-z0-9_]
    std::string title; ///< a few words
    std::string why;   ///< why it matters, for a person
    Severity severity = Severity::must;
    CheckSubject subject = CheckSubject::value;

    ColumnRef value = {}; ///< of value, gap (a table or a link without columns) and says
    Measure measure = Measure::newest;
    ColumnRef from = {}; ///< what is subtracted
    std::optional<Reference> from_reference = {};
    std::optional<EventRef> event = {}; ///< of event and count
    std::optional<EventRef> after = {};
    double over_s = 0, within_s = 0, baseline_s = 0, tolerance = 0, until = 0;
    /// Of turned: the statement of the same file from which it counts, and what a person confirms by it.
    std::string since = {}, since_title = {};
    /// Of alert: only this one. Of passed: the procedure. Of entered: the name it is entered by. Of says: the text, or
    /// empty for the dictionary's version.
    std::string name = {};
    Level level = Level::caution; ///< of alert: this or a more urgent one
    StationValue station = StationValue::disk_left_h;
    std::string or_entered = {}; ///< the name of an entered value that takes the place of a column without any

    std::optional<double> least = {}, most = {};
    bool is_within = false; ///< the file says `within`: limits on both sides of zero
    std::optional<double> no_older_than_s = {};
    std::string unit = {}; ///< as the file says; empty: it does not
    friend bool operator==(const Check&, const Check&) = default;
};

} // namespace turnstone
