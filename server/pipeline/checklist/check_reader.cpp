#include "server/pipeline/checklist/check_reader.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "protocol/text/ucum.hpp"

namespace turnstone {

namespace {

constexpr double kLimitMax = 1e12;
constexpr double kWindowMax_s = 3600;   // values of longer windows would be kept by the hundred thousand
constexpr double kTurnWindowMax_s = 60; // all of its values are kept
constexpr double kDayMax_s = 86'400;
constexpr std::size_t kVectorMax = 4;

template <class Enum>
std::vector<std::string_view> allowed() {
    return {kWords<Enum>.begin(), kWords<Enum>.end()};
}

/// The columns, where they are asked for: "column" or, of a vector, "columns".
void read_columns(JsonReader& in, ColumnRef& out) {
    if (!in.has("columns")) {
        out.columns = {in.text("column")};
        return;
    }
    if (in.has("column")) in.problem_at("column", "stands beside \"columns\"", "give one of them");
    in.ignore("column");
    for (JsonReader& each : in.array("columns", 2, kVectorMax)) out.columns.push_back(each.as_text());
}

ColumnRef read_ref(JsonReader in, bool with_columns) {
    ColumnRef out;
    out.vehicle = in.text_or("vehicle", "");
    if (in.has("link")) {
        out.link = in.text("link");
        if (in.has("table")) in.problem_at("table", "stands beside \"link\"", "give one of them");
        in.ignore("table");
    } else {
        out.table = in.text("table");
    }
    if (with_columns) read_columns(in, out);
    in.finish();
    return out;
}

EventRef read_event(JsonReader in, bool with_figure) {
    EventRef out{.event = EventId::note};
    const std::string name = in.text("event");
    if (const auto id = from_word<EventId>(name))
        out.event = *id;
    else if (!name.empty())
        in.problem_at("event", "is \"" + name + "\"",
                      "must be one of the events that protocol/STREAM.md lists: liftoff, charge_fired, reboot, ...");
    out.about = in.text_or("about", "");
    if (with_figure) out.figure = in.text_or("figure", "");
    in.finish();
    return out;
}

/// Which of the subjects the check has; reports none and several.
CheckSubject read_subject(JsonReader& in) {
    std::optional<CheckSubject> found;
    for (std::size_t s = 0; s < kWords<CheckSubject>.size(); ++s) {
        const std::string_view key = kWords<CheckSubject>[s];
        if (!in.has(key)) continue;
        if (found)
            in.problem_at(key, fmt::format("stands beside \"{}\"", word(*found)), "a check is about one of them");
        else
            found = static_cast<CheckSubject>(s);
    }
    if (!found)
        in.problem("says nothing that it is about",
                   fmt::format("give one of {}", fmt::join(kWords<CheckSubject>, ", ")));
    return found.value_or(CheckSubject::statement);
}

bool is_over_window(Measure measure) {
    return (measure >= Measure::mean && measure <= Measure::spread) || measure == Measure::left;
}

void read_value(JsonReader& in, Check& out) {
    if (auto value = in.object("value")) out.value = read_ref(*value, true);
    out.measure = static_cast<Measure>(in.choice_or("measure", allowed<Measure>(), 0));
    if (is_over_window(out.measure)) out.over_s = in.number("over_s", 0.1, kWindowMax_s);
    if (out.measure == Measure::turned) {
        out.over_s = in.number("over_s", 0.1, kTurnWindowMax_s);
        out.since = in.text("since");
    }
    if (is_about_event(out.measure)) {
        if (auto after = in.object("after")) out.after = read_event(*after, false);
        out.baseline_s = in.number_or("baseline_s", 0.01, 60, 1);
        if (out.measure != Measure::change) out.within_s = in.number_or("within_s", 1e-3, 60, 1);
    }
    if (out.measure == Measure::back) out.tolerance = in.number("tolerance", 0, kLimitMax);
    if (out.measure == Measure::left) out.until = in.number("until", -kLimitMax, kLimitMax);
    if (auto from = in.object_if("from")) {
        if (from->has("reference")) {
            out.from_reference = static_cast<Reference>(from->choice("reference", allowed<Reference>()));
            from->finish();
        } else {
            out.from = read_ref(*from, true);
        }
        if (out.measure > Measure::spread)
            in.problem_at("from", "is not for the measure " + std::string(word(out.measure)),
                          "leave it out, or measure newest, mean, greatest, least, noise or spread");
    }
    out.or_entered = in.text_or("or_entered", "");
    if (!out.or_entered.empty() && !is_short_name(out.or_entered))
        in.problem_at("or_entered", "is \"" + out.or_entered + "\"", "must be a name of a-z, 0-9 and _: wind_gust_mps");
}

/// Limits in the file's own words, and whether any value can be within them.
void read_limits(JsonReader& in, Check& out) {
    if (out.subject == CheckSubject::statement || out.subject == CheckSubject::says) {
        out.least = out.most = 1;
        return;
    }
    out.least = in.number_if("least", -kLimitMax, kLimitMax);
    out.most = in.number_if("most", -kLimitMax, kLimitMax);
    if (const auto within = in.number_if("within", 0, kLimitMax)) {
        if (out.least || out.most) in.problem_at("within", "stands beside least or most", "give it alone");
        out.least = -*within;
        out.most = *within;
        out.is_within = true;
    }
    if (out.subject == CheckSubject::alert && !out.least && !out.most) out.most = 0;
    if (out.least && out.most && *out.least > *out.most)
        in.problem_at("least",
                      fmt::format("is {}, more than most, {}: the check can never hold", *out.least, *out.most),
                      "give least no more than most");
    if (!out.least && !out.most) in.problem("has no limit", "give least, most or within");
}

} // namespace

bool is_short_name(std::string_view text) noexcept {
    const auto is_letter = [](char c) { return c >= 'a' && c <= 'z'; };
    return !text.empty() && text.size() <= 40 && is_letter(text.front()) &&
           std::ranges::all_of(text, [&](char c) { return is_letter(c) || (c >= '0' && c <= '9') || c == '_'; });
}

std::string unique_name(JsonReader& in, std::string_view key, std::set<std::string>& taken) {
    std::string name = in.text(key);
    if (name.empty()) return name;
    if (!is_short_name(name))
        in.problem_at(key, "is \"" + name + "\"", "must begin with a letter and have only a-z, 0-9 and _, at most 40");
    else if (!taken.insert(name).second)
        in.problem_at(key, "\"" + name + "\" appears twice", "give each its own");
    return name;
}

Check read_check(JsonReader in, std::set<std::string>& taken) {
    Check out;
    out.id = unique_name(in, "id", taken);
    if (out.id == "ready" || out.id.ends_with("_margin") || out.id.ends_with("_state"))
        in.problem_at("id", "is \"" + out.id + "\"",
                      "must not be ready or end in _margin or _state: columns have those");
    out.title = in.text("title");
    out.why = in.text_or("why", "");
    out.severity = static_cast<Severity>(in.choice_or("severity", allowed<Severity>(), 0));
    out.subject = read_subject(in);
    switch (out.subject) {
    case CheckSubject::value: read_value(in, out); break;
    case CheckSubject::event:
        if (auto event = in.object("event")) out.event = read_event(*event, true);
        if (auto after = in.object_if("after")) out.after = read_event(*after, false);
        if (out.event && out.event->figure.empty() && !out.after)
            in.problem("names an event without a figure of it and without another that it comes after",
                       "give \"figure\" in \"event\", or \"after\", or use \"count\"");
        break;
    case CheckSubject::count:
        if (auto event = in.object("count")) out.event = read_event(*event, false);
        break;
    case CheckSubject::gap:
        if (auto gap = in.object("gap")) out.value = read_ref(*gap, false);
        break;
    case CheckSubject::alert:
        if (auto alert = in.object("alert")) {
            out.name = alert->text_or("event", "");
            if (!out.name.empty() && !from_word<EventId>(out.name))
                alert->problem_at("event", "is \"" + out.name + "\"",
                                  "must be one of the events that protocol/STREAM.md lists: limit, link_down, ...");
            out.level = static_cast<Level>(
                1 + alert->choice_or("level", {"advisory", "caution", "warning"}, out.name.empty() ? 1 : 0));
            alert->finish();
        }
        break;
    case CheckSubject::passed: out.name = in.text("passed"); break;
    case CheckSubject::statement:
        // The title is what a person confirms; the member only says that one does.
        if (in.has("statement") && !in.boolean("statement"))
            in.problem_at("statement", "is false", "must be true, or be left out");
        break;
    case CheckSubject::entered:
        out.name = in.text("entered");
        if (!out.name.empty() && !is_short_name(out.name))
            in.problem_at("entered", "is \"" + out.name + "\"", "must be a name of a-z, 0-9 and _: wind_gust_mps");
        break;
    case CheckSubject::station:
        out.station = static_cast<StationValue>(in.choice("station", allowed<StationValue>()));
        break;
    case CheckSubject::says:
        if (auto says = in.object("says")) {
            out.name = says->text_or("text", "");
            out.value.vehicle = says->text_or("vehicle", "");
            out.value.table = says->text("table");
            out.value.columns = {says->text("column")};
            says->finish();
        }
        break;
    }
    read_limits(in, out);
    out.no_older_than_s = in.number_if("no_older_than_s", 0.2, 365 * kDayMax_s);
    out.unit = in.text_or("unit", "");
    if (!out.unit.empty() && !is_ucum_unit(out.unit))
        in.problem_at("unit", "is \"" + out.unit + "\"", "must be a UCUM unit, as in the dictionary");
    in.finish();
    return out;
}

void find_statements(std::vector<JsonReader>& readers, const std::vector<Check*>& checks) {
    for (std::size_t k = 0; k < checks.size(); ++k) {
        if (checks[k]->since.empty()) continue;
        const auto said = std::ranges::find_if(checks, [&](const Check* each) {
            return each->subject == CheckSubject::statement && each->id == checks[k]->since;
        });
        if (said == checks.end())
            readers[k].problem_at("since",
                                  "names the statement \"" + checks[k]->since + "\", which the file does not have",
                                  "give the id of a check with \"statement\"");
        else
            checks[k]->since_title = (*said)->title;
    }
}

} // namespace turnstone
