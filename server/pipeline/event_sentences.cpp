#include "server/pipeline/event_sentences.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <iterator>
#include <numbers>

#include <fmt/format.h>

#include "protocol/decode/decoder.hpp"
#include "protocol/dictionary/roles.hpp"
#include "server/estimate/prediction/landing_case.hpp"
#include "server/estimate/prediction/prediction_refusal.hpp"
#include "server/pipeline/checklist/procedure.hpp"
#include "server/pipeline/link_trouble.hpp"

namespace turnstone::sentences {

std::string devices_that_may_act(const Facts& facts) {
    const double devices = facts.number("operators");
    if (devices == 0) return "no device may act now";
    return fmt::format("{:.0f} {} may act now", devices, devices == 1 ? "device" : "devices");
}

std::string sensor(const Facts& facts) {
    return facts.about() == "static_pressure" ? "Barometer" : "Accelerometer";
}

std::string_view landing_case(const Facts& facts) {
    for (const estimate::LandingCaseWords& one : estimate::kLandingCases)
        if (one.stem == facts.text("case")) return one.word;
    return "unknown";
}

std::string predictions_refused(const Facts& facts) {
    using enum estimate::PredictionRefusal;
    switch (from_word<estimate::PredictionRefusal>(facts.text("why")).value_or(state_unknown)) {
    case too_high:
        return fmt::format("No predictions: {:.0f} km is beyond the air they know", 1e-3 * facts.number("altitude_m"));
    case too_far:
        return fmt::format("No predictions: {:.0f} km from the pad is beyond what they are made for",
                           1e-3 * facts.number("distance_m"));
    case too_fast:
        return fmt::format("No predictions: {:.0f} m/s is beyond what they are made for", facts.number("speed_mps"));
    case state_unknown:
    case none: break;
    }
    return "No predictions: altitude or speed is not known well enough";
}

std::string signal_lost(const Facts& facts) {
    const double up_mps = facts.number("vertical_speed_mps");
    return fmt::format("Loss of signal at {:.0f} m AGL, {} {:.0f} m/s; presumed down{}", facts.number("height_m"),
                       up_mps < 0 ? "descending" : "climbing", std::abs(up_mps),
                       facts.flag("near_ground") ? "" : ", time unknown");
}

namespace {

std::string impact_place(const Facts& facts) {
    if (!facts.has("distance_m")) return "";
    return fmt::format(", {:.0f} m from the pad at {:.0f}°", facts.number("distance_m"), facts.number("bearing_deg"));
}

} // namespace

std::string impact_expected(const Facts& facts) {
    return fmt::format("Impact without parachute in about {:.0f} s{}", facts.number("impact_in_s"),
                       impact_place(facts));
}

std::string impact_over(const Facts& facts) {
    if (!facts.flag("silent")) return "No impact expected any more";
    return "Impact without parachute was expected, and nothing heard since" + impact_place(facts);
}

/// "a, b and c"
std::string joined(const std::vector<std::string>& parts, std::string_view last) {
    if (parts.size() < 2) return parts.empty() ? "" : parts.front();
    return fmt::format("{} {} {}", fmt::join(parts.begin(), parts.end() - 1, ", "), last, parts.back());
}

std::string estimate_missing(const Facts& facts) {
    constexpr std::array<std::pair<std::string_view, std::string_view>, 8> kEstimates{{{"air", "air-data"},
                                                                                       {"vertical", "vertical"},
                                                                                       {"phase", "phase"},
                                                                                       {"ascent", "apogee"},
                                                                                       {"landing", "landing"},
                                                                                       {"navigation", "navigation"},
                                                                                       {"attitude", "attitude"},
                                                                                       {"look_angles", "look-angle"}}};
    std::string_view estimate = facts.about();
    for (const auto& [name, words] : kEstimates)
        if (name == facts.about()) estimate = words;
    std::vector<std::string> roles = facts.list("needs");
    for (std::string& role : roles)
        if (const auto known = role_from_name(role)) role = kRoles[static_cast<std::size_t>(*known)].title;
    return fmt::format("No {} estimate: needs {}", estimate, joined(roles, facts.flag("any") ? "or" : "and"));
}

/// The state in its own words: "no_data" is said "no data".
std::string link_is(const Facts& facts) {
    std::string state = facts.text("state");
    std::replace(state.begin(), state.end(), '_', ' ');
    const std::string detail = facts.text("detail");
    return fmt::format("Link {}: {}{}{}", facts.about(), state, detail.empty() ? "" : ": ", detail);
}

/// What bytes without a frame look like, as an end of a sentence.
std::string look(const Facts& facts) {
    const ByteLook look = from_word<ByteLook>(facts.text("looks_like")).value_or(ByteLook::noise);
    switch (look) {
    case ByteLook::too_few: return "too few bytes to say what they are";
    case ByteLook::one_byte: {
        const std::string byte = facts.text("byte_hex");
        return byte == "00" || byte == "FF" ? "all bits the same (" + byte + ")"
                                            : "the byte " + byte + " over and over";
    }
    case ByteLook::nmea: return "NMEA 0183 sentences";
    case ByteLook::text: return "text lines";
    case ByteLook::start_bytes:
        return "a binary protocol with the repeating start bytes " + facts.text("start_hex") +
               (facts.flag("serial") && !facts.flag("good_before") ? ", or a wrong baud rate" : "");
    case ByteLook::slow_bits: return "a sender with a lower baud rate than this link is set to";
    case ByteLook::noise: break;
    }
    const bool stuffed = facts.number("bad_checksums") > 0.8 * facts.number("bad_frames");
    return stuffed ? "frames of this kind with a checksum that does not fit" : "noise, without structure";
}

/// By reason, since a wrong dictionary makes many kinds unreadable at once. A size helps whoever corrects a packet that
/// is described.
std::string unreadable(const Facts& facts) {
    const std::vector<std::string> apids = facts.list("apids"), bytes = facts.list("frame_bytes"),
                                   reasons = facts.list("reasons");
    std::vector<std::pair<std::string, std::vector<std::string>>> kinds;
    for (std::size_t k = 0; k < apids.size() && k < bytes.size() && k < reasons.size(); ++k) {
        const bool unknown = reasons[k] == word(DecodeVerdict::unknown_apid);
        std::string reason = unknown ? "unknown" : reasons[k];
        std::replace(reason.begin(), reason.end(), '_', ' ');
        auto kind = std::find_if(kinds.begin(), kinds.end(), [&](const auto& one) { return one.first == reason; });
        if (kind == kinds.end()) kind = kinds.insert(kind, {std::move(reason), {}});
        kind->second.push_back(unknown ? apids[k] : fmt::format("{} of {} bytes", apids[k], bytes[k]));
    }
    std::vector<std::string> parts;
    for (const auto& [reason, members] : kinds)
        parts.push_back(fmt::format("APID {} ({})", joined(members, "and"), reason));
    return joined(parts, "and");
}

/// The first of them: a wrong dictionary makes many at once.
std::string impossible(const Facts& facts) {
    constexpr std::size_t kSaid = 3;
    std::vector<std::string> values = facts.list("values");
    if (values.size() > kSaid) {
        const std::size_t more = values.size() - kSaid;
        values.resize(kSaid);
        values.push_back(fmt::format("{} more", more));
    }
    return "values that no sensor can say: " + joined(values, "and") +
           ". The dictionary probably does not fit this firmware";
}

std::string link_trouble(const Facts& facts) {
    std::string link = "Link " + facts.about() + ": ";
    switch (from_word<LinkTrouble>(facts.text("cause")).value_or(LinkTrouble::no_frames)) {
    case LinkTrouble::no_frames:
        return link + fmt::format("no good frame in {:.0f} bytes over {:.0f} s{}. It looks like {}",
                                  facts.number("bytes"), facts.number("for_s"),
                                  facts.flag("good_before") ? ", though good ones came before" : "", look(facts));
    case LinkTrouble::dictionary_differs:
        return link + fmt::format("the vehicle uses version {} of the dictionary, this station version {}",
                                  facts.text("vehicle_version"), facts.text("station_version"));
    case LinkTrouble::unreadable: return link + "good frames that the dictionary cannot read: " + unreadable(facts);
    case LinkTrouble::values_impossible: return link + impossible(facts);
    case LinkTrouble::frames_repeat:
        return link + fmt::format("the same frame (APID {:.0f}) {:.0f} times over {:.0f} s, and no other",
                                  facts.number("apid"), facts.number("packets"), facts.number("for_s"));
    case LinkTrouble::time_stuck:
        return link + fmt::format("on-board time stuck at {:.3f} s in {:.0f} packets over {:.0f} s",
                                  facts.number("onboard_s"), facts.number("packets"), facts.number("for_s"));
    }
    return link;
}

std::string link_trouble_advice(const Facts& facts) {
    switch (from_word<LinkTrouble>(facts.text("cause")).value_or(LinkTrouble::no_frames)) {
    case LinkTrouble::no_frames:
        if (facts.text("looks_like") == word(ByteLook::nmea)) return "Give the link framing=nmea";
        if (facts.flag("good_before")) return "Look for another sender on this channel, and at the receiver's settings";
        return facts.flag("serial") ? "Check the port, the baud rate and whether the vehicle sends this protocol"
                                    : "Check the port and whether the vehicle sends this protocol";
    case LinkTrouble::dictionary_differs:
        return "Start the station with the dictionary that the vehicle was built with";
    case LinkTrouble::unreadable:
        return "Start the station with this vehicle's folder (--vehicle), or correct its dictionary.json";
    case LinkTrouble::values_impossible:
        return "Compare dictionary.json with the firmware: order, types and scaling of the fields. Check the site's "
               "pad. "
               "Until then these packets are recorded and not used";
    case LinkTrouble::frames_repeat: return "Restart what sends on this link: radio or flight computer";
    case LinkTrouble::time_stuck: return "Restart the flight computer: its clock is stuck";
    }
    return "";
}

std::string link_trouble_over(const Facts& facts) {
    constexpr std::array<std::string_view, kWords<LinkTrouble>.size()> kTitles{"no good frames",
                                                                               "another version of the dictionary",
                                                                               "frames that the dictionary cannot read",
                                                                               "values that no sensor can say",
                                                                               "the same frame over and over",
                                                                               "a stuck on-board time"};
    const LinkTrouble trouble = from_word<LinkTrouble>(facts.text("cause")).value_or(LinkTrouble::no_frames);
    return fmt::format("Link {} recovered; it had {}", facts.about(), kTitles[static_cast<std::size_t>(trouble)]);
}

std::string parachute(const Facts& facts) {
    std::string name = facts.about();
    if (!name.empty() && name[0] >= 'a' && name[0] <= 'z') name[0] = static_cast<char>(name[0] - 'a' + 'A');
    return name;
}

namespace {

/// How a unit is shown where it differs from its UCUM code, as in web/src/text/units.ts.
struct ShownUnit {
    std::string_view code, symbol;
    double gain = 1, offset = 0;
    int more_decimals = 0;
};
constexpr double kDegrees = 180 / std::numbers::pi;
constexpr ShownUnit kShownUnits[] = {{"1", ""},
                                     {"Cel", " °C"},
                                     {"K", " °C", 1, -273.15},
                                     {"Pa", " hPa", 0.01, 0, 2},
                                     {"deg", "°"},
                                     {"m/s2", " m/s²"},
                                     {"dB{mW}", " dBm"},
                                     {"uT", " µT"},
                                     {"us", " µs"},
                                     {"deg/s", " °/s"},
                                     {"{fraction}", " %", 100, 0, -2}};

} // namespace

std::string with_unit(double in, const std::string& recorded, int places) {
    const auto [value, unit, decimals] = for_people(in, recorded, places);
    const auto* const shown = std::ranges::find(kShownUnits, unit, &ShownUnit::code);
    if (shown != std::end(kShownUnits))
        return fmt::format("{:.{}f}{}", value * shown->gain + shown->offset,
                           std::max(0, decimals + shown->more_decimals), shown->symbol);
    std::string symbol = unit;
    std::erase_if(symbol, [](char c) { return c == '{' || c == '}' || c == '[' || c == ']'; });
    return fmt::format("{:.{}f} {}", value, decimals, symbol);
}

PeoplesFigure for_people(double value, const std::string& unit, int decimals) {
    if (unit == "rad/s") return {value * kDegrees, "deg/s", std::max(0, decimals - 2)};
    if (unit != "By") return {value, unit, decimals};
    static constexpr std::array<const char*, 5> kNames{"B", "kB", "MB", "GB", "TB"};
    std::size_t step = 0;
    for (; std::abs(value) >= 999.5 && step + 1 < kNames.size(); ++step) value /= 1000;
    return {value, kNames.at(step), step == 0 || std::abs(value) >= 100 ? 0 : 1};
}

std::string mark(const Facts& facts) {
    return facts.flag("taken_back") ? "Taken back: " + facts.text("text") : facts.text("text");
}

std::string before_zero(double left_s) {
    constexpr double kExact_s = 1e-6; // of a time that was a whole number of seconds
    const double whole_s = left_s < 0 ? std::floor(kExact_s - left_s) : std::ceil(left_s - kExact_s);
    const double minutes = std::floor(whole_s / 60);
    return fmt::format("T{}{:.0f}:{:02.0f}", left_s < 0 ? "+" : "-", minutes, whole_s - 60 * minutes);
}

std::string limit(const Facts& facts) {
    const auto number = [&](const char* name) {
        return with_unit(facts.number(name), facts.text("unit"), static_cast<int>(facts.number("decimals")));
    };
    const std::string how = facts.text("side");
    if (how == "rate") {
        const std::string unit = facts.text("unit");
        const bool turns = unit == "rad/s";
        const double gain = turns ? kDegrees : 1;
        return fmt::format("{} changes by {:.3g} {}, limit {:.3g}", facts.text("title"), gain * facts.number("value"),
                           turns ? "°/s²" : (unit == "1" ? "" : unit) + "/s", gain * facts.number("limit"));
    }
    return fmt::format("{} {}: {}, limit {}", facts.text("title"), how, number("value"), number("limit"));
}

std::string unexpected_state(const Facts& facts) {
    return fmt::format("{} is {}, expected {}", facts.text("title"), facts.text("state"),
                       joined(facts.list("expected"), "or"));
}

namespace {

/// " (KL: battery changed)", " (KL)"
std::string said_by(const Facts& facts) {
    const std::string by = facts.text("by"), note = facts.text("note");
    if (by.empty()) return "";
    return " (" + by + (note.empty() ? "" : ": " + note) + ")";
}

std::string reasons(const Facts& facts) {
    return fmt::format("{}", fmt::join(facts.list("reasons"), "; "));
}

} // namespace

std::string procedure_ended(const Facts& facts) {
    return fmt::format("{} {}{}{}", facts.text("title"), facts.text("verdict"), waived_words(facts.list("waived")),
                       said_by(facts));
}

std::string check_decided(const Facts& facts) {
    std::string state = facts.text("state");
    std::replace(state.begin(), state.end(), '_', ' ');
    const std::string why = facts.text("why");
    std::string out = facts.text("title") + ": " + state;
    if (facts.has("measured")) {
        out +=
            ", " + with_unit(facts.number("measured"), facts.text("unit"), static_cast<int>(facts.number("decimals")));
    }
    return out + (facts.text("required").empty() ? "" : ", required " + facts.text("required")) +
           (why.empty() ? "" : " (" + why + ")");
}

std::string statement(const Facts& facts) {
    return facts.text("title") + (facts.flag("holds") ? ": confirmed" : ": denied") + said_by(facts);
}

std::string poll_answered(const Facts& facts) {
    return facts.text("title") + (facts.flag("go") ? ": go" : ": no-go") + said_by(facts);
}

std::string entered(const Facts& facts) {
    std::string name = facts.text("title");
    return fmt::format("{}: {} entered{}", name, with_unit(facts.number("value"), facts.text("unit"), 1),
                       said_by(facts));
}

std::string not_ready(const Facts& facts) {
    return "Not ready: " + reasons(facts);
}

std::string readiness_at_liftoff(const Facts& facts) {
    return facts.flag("ready") ? "Board at liftoff: ready" : "Board at liftoff: not ready: " + reasons(facts);
}

std::string past_procedure(const Facts& facts) {
    const std::string recording = facts.text("recording"), hash = facts.text("sha256");
    const char* const since = facts.flag("failed_since") ? ", failed since" : "";
    if (recording.empty())
        return fmt::format("{}: run {:.0f} times before, {}", facts.text("title"), facts.number("runs"),
                           facts.flag("failed_since") ? "failed" : "not passed");
    return fmt::format("{}: passed in recording {}{}{}{}", facts.text("title"), recording,
                       hash.empty() ? "" : ", SHA-256 " + hash.substr(0, 12), waived_words(facts.list("waived")),
                       since);
}

} // namespace turnstone::sentences
