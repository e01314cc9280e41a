#include "protocol/dictionary/channel_alert.hpp"

#include <algorithm>

#include <nlohmann/json.hpp>

#include "protocol/dictionary/dictionary.hpp"

namespace turnstone {
namespace {

constexpr std::size_t kAlertsMax = 16; ///< of one field
constexpr std::size_t kExpectedMax = 256;
constexpr double kLimitMax = 1e300;
constexpr double kDelayMax_s = 3600;

/// The members that say what an alert is about, in the order of AlertCause.
constexpr std::array<std::string_view, kWords<AlertCause>.size()> kCauseKeys{"below",   "above",   "rate",
                                                                             "stuck_s", "stale_s", "expected"};

bool has_limits(AlertCause cause) {
    return cause == AlertCause::below || cause == AlertCause::above || cause == AlertCause::rate;
}

void read_limits(JsonReader& reader, std::string_view key, ChannelAlert& alert) {
    auto limits = reader.object(key);
    if (!limits) return;
    const double least = alert.cause == AlertCause::rate ? 0 : -kLimitMax;
    std::optional<double> before;
    for (std::size_t u = 0; u < alert.limits.size(); ++u) {
        const std::string_view name = word(static_cast<Urgency>(u));
        alert.limits[u] = limits->number_if(name, least, kLimitMax);
        if (!alert.limits[u]) {
            limits->ignore(name);
            continue;
        }
        const bool is_beyond =
            !before || (alert.cause == AlertCause::below ? *alert.limits[u] < *before : *alert.limits[u] > *before);
        if (!is_beyond)
            limits->problem_at(name, "is not beyond the limit of the less urgent level",
                               alert.cause == AlertCause::below ? "must be less" : "must be greater");
        before = alert.limits[u];
    }
    if (!before && limits->is_object() && limits->json().empty())
        limits->problem("has no limit", R"(must have "advisory", "caution" or "warning", or several of them)");
    limits->finish();
}

/// The number that a word of the field's enumeration means; a number is itself.
void read_expected(JsonReader& reader, const Field& field, ChannelAlert& alert) {
    for (JsonReader& element : reader.array("expected", 1, kExpectedMax)) {
        if (!element.json().is_string()) {
            alert.expected.push_back(element.as_number(-kLimitMax, kLimitMax));
            continue;
        }
        const std::string text = element.as_text();
        bool is_known = false;
        std::string known;
        for (const auto& [raw, name] : field.enumeration) {
            if (known.find("\"" + name + "\"") == std::string::npos)
                known += (known.empty() ? "\"" : ", \"") + name + "\"";
            if (name != text) continue;
            alert.expected.push_back(static_cast<double>(raw));
            is_known = true;
        }
        if (!is_known && !text.empty())
            element.problem("\"" + text.substr(0, 48) + "\" is not a word of the field's enumeration",
                            known.empty() ? "must be a number" : "must be one of " + known.substr(0, 400));
    }
}

void read_phases(JsonReader& reader, ChannelAlert& alert) {
    if (!reader.has("phases")) {
        reader.ignore("phases");
        return;
    }
    for (JsonReader& element : reader.array("phases", 1, kPhaseNames.size())) {
        const std::string name = element.as_text();
        const auto known = std::ranges::find(kPhaseNames, name);
        if (known != kPhaseNames.end()) {
            alert.phases.push_back(static_cast<std::size_t>(known - kPhaseNames.begin()));
        } else if (!name.empty()) {
            std::string names;
            for (const std::string_view each : kPhaseNames) names += (names.empty() ? "" : ", ") + std::string(each);
            element.problem("\"" + name.substr(0, 48) + "\" is not a phase", "must be one of " + names);
        }
    }
}

void read_while(JsonReader& reader, ChannelAlert& alert) {
    auto given = reader.object_if("while");
    if (!given) return;
    AlertWhile& only = alert.only_while;
    only.channel = given->text("channel");
    only.below = given->number_if("below", -kLimitMax, kLimitMax);
    only.above = given->number_if("above", -kLimitMax, kLimitMax);
    only.for_s = given->number_or("for_s", 0, kDelayMax_s, 0);
    if (given->is_object() && only.below.has_value() == only.above.has_value())
        given->problem("says no side of a limit, or both", R"(must have "above" or "below")");
    given->finish();
}

/// Which of kCauseKeys the alert has; it must be one.
std::optional<AlertCause> read_cause(JsonReader& reader, const Field& field) {
    std::optional<AlertCause> cause;
    for (std::size_t c = 0; c < kCauseKeys.size(); ++c) {
        const bool is_there = reader.has(kCauseKeys[c]);
        if (is_there && !cause) {
            cause = static_cast<AlertCause>(c);
            continue;
        }
        if (is_there) reader.problem_at(kCauseKeys[c], "appears beside another condition", "make two alerts of it");
        reader.ignore(kCauseKeys[c]);
    }
    if (!cause && reader.is_object())
        reader.problem("says no condition",
                       R"(must have one of "below", "above", "rate", "stuck_s", "stale_s" and "expected")");
    if (cause && field.is_text() && *cause != AlertCause::stale) {
        reader.problem_at(kCauseKeys[static_cast<std::size_t>(*cause)], "is on a text",
                          R"(use "stale_s", or remove it)");
        reader.ignore(kCauseKeys[static_cast<std::size_t>(*cause)]);
        return std::nullopt;
    }
    return cause;
}

void refuse(JsonReader& reader, std::string_view key, const std::string& why) {
    if (reader.has(key)) reader.problem_at(key, why, "remove it");
    reader.ignore(key);
}

ChannelAlert read_alert(JsonReader& reader, const Field& field) {
    ChannelAlert alert;
    const auto cause = read_cause(reader, field);
    if (!cause) {
        for (const char* key :
             {"level", "deadband", "on_delay_s", "off_delay_s", "latching", "phases", "while", "advice"})
            reader.ignore(key);
        reader.finish();
        return alert;
    }
    alert.cause = *cause;
    const std::string_view key = kCauseKeys[static_cast<std::size_t>(*cause)];
    const bool is_for_time = *cause == AlertCause::stuck || *cause == AlertCause::stale;
    if (has_limits(*cause)) read_limits(reader, key, alert);
    if (is_for_time) alert.for_s = reader.number(key, 0.1, kDelayMax_s);
    if (*cause == AlertCause::expected) read_expected(reader, field, alert);
    if (has_limits(*cause))
        refuse(reader, "level", "is given beside limits, each of which has its level");
    else
        alert.urgency = static_cast<Urgency>(
            reader.choice_or("level", {"advisory", "caution", "warning"}, static_cast<std::size_t>(Urgency::caution)));
    if (*cause == AlertCause::stale || *cause == AlertCause::expected)
        refuse(reader, "deadband", "is on what has no limit");
    else
        alert.deadband = reader.number_or("deadband", 0, kLimitMax, 0);
    if (is_for_time)
        refuse(reader, "on_delay_s", "is given beside \"" + std::string(key) + "\", which says it");
    else
        alert.on_delay_s = reader.number_if("on_delay_s", 0, kDelayMax_s);
    alert.off_delay_s = reader.number_if("off_delay_s", 0, kDelayMax_s);
    alert.is_latching = reader.boolean_or("latching", false);
    read_phases(reader, alert);
    read_while(reader, alert);
    alert.advice = reader.text_or("advice", "");
    reader.finish();
    return alert;
}

} // namespace

std::vector<ChannelAlert> read_alerts(JsonReader& field_reader, const Field& field) {
    std::vector<ChannelAlert> alerts;
    if (!field_reader.has("alerts")) return alerts;
    for (JsonReader& reader : field_reader.array("alerts", 1, kAlertsMax)) alerts.push_back(read_alert(reader, field));
    return alerts;
}

} // namespace turnstone
