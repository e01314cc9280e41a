#include "server/pipeline/events.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "protocol/dictionary/roles.hpp"
#include "server/estimate/prediction/landing_case.hpp"
#include "server/pipeline/link_trouble.hpp"

namespace turnstone {

namespace {

/// The values by name, for sentences. A missing one reads as zero, empty or false, so that no sentence fails.
class Facts {
  public:
    explicit Facts(const EstimateEvent& event) : event_(event) {}

    [[nodiscard]] const std::string& about() const { return event_.about; }
    [[nodiscard]] double number(std::string_view name) const { return get<double>(name); }
    [[nodiscard]] bool flag(std::string_view name) const { return get<bool>(name); }
    [[nodiscard]] std::string text(std::string_view name) const { return get<std::string>(name); }
    [[nodiscard]] std::vector<std::string> list(std::string_view name) const {
        return get<std::vector<std::string>>(name);
    }

  private:
    template <class T>
    [[nodiscard]] T get(std::string_view name) const {
        for (const EventValue& value : event_.values)
            if (value.name == name && std::holds_alternative<T>(value.value)) return std::get<T>(value.value);
        return T{};
    }
    const EstimateEvent& event_;
};

std::string sensor(const Facts& facts) {
    return facts.about() == "static_pressure" ? "Barometer" : "Accelerometer";
}

std::string_view landing_case(const Facts& facts) {
    for (const estimate::LandingCaseWords& one : estimate::kLandingCases)
        if (one.stem == facts.text("case")) return one.word;
    return "unknown";
}

std::string signal_lost(const Facts& facts) {
    const double up_mps = facts.number("vertical_speed_mps");
    return fmt::format("Loss of signal at {:.0f} m AGL, {} {:.0f} m/s; presumed down{}", facts.number("height_m"),
                       up_mps < 0 ? "descending" : "climbing", std::abs(up_mps),
                       facts.flag("near_ground") ? "" : ", time unknown");
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
    case ByteLook::start_bytes: return "a binary protocol with the repeating start bytes " + facts.text("start_hex");
    case ByteLook::slow_bits: return "a sender with a lower baud rate than this link is set to";
    case ByteLook::noise: break;
    }
    const bool stuffed = facts.number("bad_checksums") > 0.8 * facts.number("bad_frames");
    return stuffed ? "frames of this kind with a checksum that does not fit" : "noise, without structure";
}

std::string unreadable(const Facts& facts) {
    const std::vector<std::string> apids = facts.list("apids"), counts = facts.list("counts"),
                                   bytes = facts.list("frame_bytes"), reasons = facts.list("reasons");
    std::vector<std::string> kinds;
    for (std::size_t k = 0; k < apids.size() && k < counts.size() && k < bytes.size() && k < reasons.size(); ++k) {
        std::string reason = reasons[k];
        std::replace(reason.begin(), reason.end(), '_', ' ');
        kinds.push_back(fmt::format("{} × APID {}, {} bytes ({})", counts[k], apids[k], bytes[k], reason));
    }
    return joined(kinds, "and");
}

std::string link_trouble(const Facts& facts) {
    const std::string link = "Link " + facts.about() + ": ";
    switch (from_word<LinkTrouble>(facts.text("cause")).value_or(LinkTrouble::no_frames)) {
    case LinkTrouble::no_frames:
        return link + fmt::format("no good frame in {:.0f} bytes over {:.0f} s{}. It looks like {}",
                                  facts.number("bytes"), facts.number("for_s"),
                                  facts.flag("good_before") ? ", though good ones came before"
                                  : facts.flag("serial")    ? ": wrong port, wrong baud rate or another protocol"
                                                            : ": wrong port or another protocol",
                                  look(facts));
    case LinkTrouble::dictionary_differs:
        return link + fmt::format("the vehicle uses version {} of the dictionary, this station version {}",
                                  facts.text("vehicle_version"), facts.text("station_version"));
    case LinkTrouble::unreadable:
        return link + "good frames that the dictionary cannot read: " + unreadable(facts) +
               ". Check that it is this vehicle's";
    case LinkTrouble::time_stuck:
        return link + fmt::format("on-board time stuck at {:.3f} s in {:.0f} packets over {:.0f} s",
                                  facts.number("onboard_s"), facts.number("packets"), facts.number("for_s"));
    }
    return link;
}

std::string link_trouble_over(const Facts& facts) {
    constexpr std::array<std::string_view, kWords<LinkTrouble>.size()> kTitles{
        "no good frames", "another version of the dictionary", "frames that the dictionary cannot read",
        "a stuck on-board time"};
    const LinkTrouble trouble = from_word<LinkTrouble>(facts.text("cause")).value_or(LinkTrouble::no_frames);
    return fmt::format("Link {} recovered; it had {}", facts.about(), kTitles[static_cast<std::size_t>(trouble)]);
}

struct Definition {
    EventId id;
    std::string_view key; ///< {vehicle}: its name; {event}: the id's word; {about}: EstimateEvent::about
    EventKind kind;
    Level level;
    std::string (*says)(const Facts&);
    std::string (*says_cleared)(const Facts&) = nullptr; ///< of alerts
};

template <std::size_t n>
struct Text {
    char bytes[n];
    consteval Text(const char (&text)[n]) { std::copy_n(text, n, bytes); } // NOLINT(google-explicit-constructor)
};
/// An event that always says the same.
template <Text text>
std::string say(const Facts&) {
    return text.bytes;
}

using enum EventKind;
constexpr std::array<Definition, kWords<EventId>.size()> kEvents{{
    {EventId::phase_began, "{vehicle}/phase/{about}", phase, Level::note,
     [](const Facts& f) { return f.text("phase"); }},
    {EventId::liftoff, "{vehicle}/flight/{event}", flight_event, Level::note, say<"Liftoff">},
    {EventId::burnout, "{vehicle}/flight/{event}", flight_event, Level::note, say<"Burnout">},
    {EventId::apogee, "{vehicle}/flight/{event}", flight_event, Level::note, say<"Apogee">},
    {EventId::drogue_out, "{vehicle}/flight/{event}", flight_event, Level::note, say<"Drogue out">},
    {EventId::main_out, "{vehicle}/flight/{event}", flight_event, Level::note, say<"Main out">},
    {EventId::touchdown, "{vehicle}/flight/{event}", flight_event, Level::note, say<"Touchdown">},
    {EventId::false_liftoff, "{vehicle}/flight/{event}", flight_event, Level::note,
     say<"False liftoff withdrawn: at rest on the rail">},
    {EventId::signal_lost, "{vehicle}/flight/{event}", flight_event, Level::note, signal_lost},
    {EventId::signal_reacquired, "{vehicle}/flight/{event}", flight_event, Level::note, say<"Signal reacquired">},
    {EventId::joined_in_flight, "{vehicle}/flight/{event}", flight_event, Level::advisory,
     say<"In flight when first heard: liftoff not seen">},
    {EventId::ready_again, "{vehicle}/flight/{event}", flight_event, Level::note,
     say<"At rest after touchdown: ready for another flight">},
    {EventId::shock, "{vehicle}/pulse/acceleration", flight_event, Level::note,
     [](const Facts& f) {
         return fmt::format("Shock of {:.0f} m/s² for {:.0f} ms", f.number("peak_mps2"), 1e3 * f.number("duration_s"));
     }},
    {EventId::pressure_pulse, "{vehicle}/pulse/pressure", flight_event, Level::note,
     [](const Facts& f) {
         return fmt::format("Pressure pulse of {:+.0f} Pa for {:.0f} ms", f.number("peak_pa"),
                            1e3 * f.number("duration_s"));
     }},
    {EventId::sensor_out_of_range, "{vehicle}/sensor/{about}/out_of_range", alert_raised, Level::caution,
     [](const Facts& f) { return sensor(f) + " out of range, ignored"; },
     [](const Facts& f) { return sensor(f) + " recovered"; }},
    {EventId::sensor_frozen, "{vehicle}/sensor/{about}/frozen", alert_raised, Level::caution,
     [](const Facts& f) { return sensor(f) + " frozen, ignored"; },
     [](const Facts& f) { return sensor(f) + " recovered"; }},
    {EventId::sensor_silent, "{vehicle}/sensor/{about}/silent", alert_raised, Level::caution,
     [](const Facts& f) { return sensor(f) + " silent while other sensors report"; },
     [](const Facts& f) { return sensor(f) + " recovered"; }},
    {EventId::sensor_at_range, "{vehicle}/sensor/{about}/at_range", alert_raised, Level::advisory,
     [](const Facts& f) { return sensor(f) + " at its range: the true value is beyond it"; },
     [](const Facts& f) { return sensor(f) + " within its range again"; }},
    {EventId::barometer_stuck, "{vehicle}/sensor/static_pressure/stuck", alert_raised, Level::caution,
     say<"Barometer stuck while the accelerometer shows a climb: pressure altitude ignored">,
     say<"Barometer recovered">},
    {EventId::pad_pressure_differs, "{vehicle}/sensor/static_pressure/pad_pressure", alert_raised, Level::advisory,
     [](const Facts& f) {
         return fmt::format("Barometer differs from the site's pad pressure by {:+.0f} Pa: check the site file or the "
                            "sensor",
                            f.number("difference_pa"));
     }},
    {EventId::pad_height_differs, "{vehicle}/sensor/fix/pad_height", alert_raised, Level::advisory,
     [](const Facts& f) {
         return fmt::format("Fixes on the pad differ from the site's pad height by {:+.0f} m, taken off: check whether "
                            "one of them is above the ellipsoid and the other above sea level",
                            f.number("difference_m"));
     }},
    {EventId::estimate_missing, "{vehicle}/missing/{about}", recording, Level::note, estimate_missing},
    {EventId::vertical_restarted, "{vehicle}/estimate/vertical/restarted", flight_event, Level::advisory,
     say<"Vertical filter restarted from the barometer">},
    {EventId::dead_reckoning, "{vehicle}/estimate/navigation/dead_reckoning", flight_event, Level::advisory,
     say<"No usable GNSS fix: dead reckoning, position uncertainty grows">},
    {EventId::gnss_aided, "{vehicle}/estimate/navigation/aided", flight_event, Level::note, say<"GNSS fixes in use">},
    {EventId::attitude_lost, "{vehicle}/estimate/navigation/lost", flight_event, Level::advisory,
     say<"Attitude lost: position and vertical motion go on without it">},
    {EventId::flat_ground, "{vehicle}/estimate/landing/flat_ground", flight_event, Level::note,
     say<"Landing predictions assume flat ground at pad height: the site file has no height grid">},
    {EventId::wind_unknown, "{vehicle}/estimate/landing/wind_unknown", flight_event, Level::advisory,
     say<"Landing predictions assume no wind: add a wind table to the site file">},
    {EventId::landing_outside_boundary, "{vehicle}/estimate/landing/outside_boundary", alert_raised, Level::advisory,
     [](const Facts& f) {
         return fmt::format("{:.0f} % of predicted landings are outside the boundary. Advisory: the range safety "
                            "officer decides",
                            100 * f.number("outside"));
     },
     say<"Predicted landings are inside the boundary again">},
    {EventId::landing_case_outside, "{vehicle}/estimate/landing/outside_boundary/{about}", alert_raised,
     Level::advisory,
     [](const Facts& f) {
         return fmt::format(
             "Should it come to \"{}\" ({:.1f} % likely), {:.0f} % of landings are outside the boundary. "
             "Advisory: the range safety officer decides",
             landing_case(f), 100 * f.number("probability"), 100 * f.number("outside"));
     },
     [](const Facts& f) {
         return fmt::format("Landings of the case \"{}\" are inside the boundary again, or it is ruled out",
                            landing_case(f));
     }},
    {EventId::reboot, "{vehicle}/reboot", EventKind::reboot, Level::caution, say<"Flight computer rebooted">},
    {EventId::clock_jump, "{vehicle}/clock/jump", flight_event, Level::advisory,
     say<"On-board clock jumped; time correlation restarted">},
    {EventId::station_clock_off, "{vehicle}/clock/station", alert_raised, Level::advisory,
     [](const Facts& f) {
         return fmt::format("This computer's clock is {:.1f} s {} GNSS time: set it before times matter",
                            std::abs(f.number("ahead_s")), f.number("ahead_s") > 0 ? "ahead of" : "behind");
     },
     say<"This computer's clock agrees with GNSS time again">},
    {EventId::engine_total, "{vehicle}/engine/total", recording, Level::note,
     [](const Facts& f) { return fmt::format("Engine hours continue from {:.2f} h", f.number("running_s") / 3600); }},
    {EventId::link_state, "link/{about}/state", EventKind::link_state, Level::note, link_is},
    {EventId::link_down, "link/{about}/down", alert_raised, Level::caution, link_is, link_is},
    {EventId::link_trouble, "link/{about}/trouble", alert_raised, Level::caution, link_trouble, link_trouble_over},
    {EventId::recording_fault, "recording/fault", alert_raised, Level::warning,
     [](const Facts& f) { return "Recording fault: " + f.text("fault"); }, say<"Recording restored">},
    {EventId::recording_trouble, "recording/trouble", alert_raised, Level::caution,
     [](const Facts& f) { return "Recording: " + f.text("fault"); }, say<"Recording keeps up again">},
    {EventId::estimates_behind, "station/behind", alert_raised, Level::caution,
     [](const Facts& f) {
         return fmt::format(
             "This computer is too slow: estimates are {:.1f} s behind and predictions pause. Close other "
             "programs on it",
             f.number("behind_s"));
     },
     say<"Estimates keep up again">},
    {EventId::station_resumed, "station/resumed", recording, Level::advisory,
     [](const Facts& f) {
         return fmt::format("The station was down for {:.1f} s; this recording continues", f.number("down_s"));
     }},
    {EventId::marker, "marker", EventKind::marker, Level::note, [](const Facts& f) { return f.text("text"); }},
    {EventId::note, "note", EventKind::note, Level::note, [](const Facts& f) { return f.text("text"); }},
}};

consteval bool in_order() {
    for (std::size_t i = 0; i < kEvents.size(); ++i)
        if (static_cast<std::size_t>(kEvents[i].id) != i) return false;
    return true;
}
static_assert(in_order(), "kEvents is indexed by EventId");

} // namespace

Event make_event(EstimateEvent happened, std::int64_t t_found_ns, const EventVehicle& vehicle) {
    const Definition& definition = kEvents[static_cast<std::size_t>(happened.id)];
    std::erase_if(happened.values, [](const EventValue& value) {
        const double* number = std::get_if<double>(&value.value);
        return number != nullptr && !std::isfinite(*number);
    });
    const Facts facts(happened);
    Event event;
    event.id = happened.id;
    event.t_ns = happened.t_ns;
    event.t_found_ns = t_found_ns;
    event.t_sigma_s = happened.t_sigma_s;
    event.kind = happened.cleared ? alert_cleared : definition.kind;
    event.level = definition.level;
    event.vehicle = vehicle.index;
    event.key = fmt::format(fmt::runtime(definition.key), fmt::arg("vehicle", vehicle.name),
                            fmt::arg("event", word(happened.id)), fmt::arg("about", happened.about));
    event.text = happened.cleared && definition.says_cleared ? definition.says_cleared(facts) : definition.says(facts);
    event.values = std::move(happened.values);
    return event;
}

std::string to_json(const EventValues& values) {
    nlohmann::ordered_json json = nlohmann::ordered_json::object();
    for (const EventValue& value : values) std::visit([&](const auto& is) { json[value.name] = is; }, value.value);
    return json.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace);
}

EventValues event_values_from_json(std::string_view text) {
    EventValues values;
    const auto json = nlohmann::ordered_json::parse(text, nullptr, false);
    if (!json.is_object()) return values;
    for (const auto& [name, is] : json.items())
        if (is.is_number())
            values.push_back({name, is.template get<double>()});
        else if (is.is_boolean())
            values.push_back({name, is.template get<bool>()});
        else if (is.is_string())
            values.push_back({name, is.template get<std::string>()});
        else if (is.is_array() && std::all_of(is.begin(), is.end(), [](const auto& part) { return part.is_string(); }))
            values.push_back({name, is.template get<std::vector<std::string>>()});
    return values;
}

} // namespace turnstone
