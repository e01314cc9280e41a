#include "protocol/packet_radio/report.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

#include "protocol/nmea/sentence.hpp"
#include "protocol/packet_radio/position_text.hpp"
#include "protocol/packet_radio/weather.hpp"

namespace turnstone {
namespace {

std::string_view without_blanks_behind(std::string_view text) noexcept {
    return text.substr(0, text.find_last_not_of(' ') + 1);
}

ReportFault take_object(std::string_view& text, Report& out) noexcept {
    constexpr std::size_t kName = 9;
    if (text.size() < kName + 1) return ReportFault::cut_short;
    out.name = without_blanks_behind(text.substr(0, kName));
    const char state = text[kName];
    if (out.name.empty() || (state != '*' && state != '_')) return ReportFault::name;
    out.is_alive = state == '*';
    text.remove_prefix(kName + 1);
    const ReportFault fault = take_time(text, out);
    return fault == ReportFault::none ? take_position(text, out) : fault;
}

ReportFault take_item(std::string_view& text, Report& out) noexcept {
    constexpr std::size_t kNameLeast = 3, kNameMost = 9;
    const std::size_t size = text.find_first_of("!_");
    if (size == std::string_view::npos && text.size() <= kNameMost) return ReportFault::cut_short;
    if (size < kNameLeast || size > kNameMost) return ReportFault::name;
    out.name = without_blanks_behind(text.substr(0, size));
    out.is_alive = text[size] == '!';
    text.remove_prefix(size + 1);
    return take_position(text, out);
}

/// The next field up to a comma; `text` goes on behind it.
std::string_view take_field(std::string_view& text) noexcept {
    const std::string_view field = text.substr(0, text.find(','));
    text.remove_prefix(std::min(text.size(), field.size() + 1));
    return field;
}

/// "#005,199,000,255,073,123,01101001" with a comment behind: fewer channels, none in between, and numbers of other
/// sizes come too (common practice, no source).
ReportFault take_telemetry(std::string_view& text, ReportTelemetry& out) noexcept {
    text.remove_prefix(1);
    constexpr std::string_view kMicE = "MIC"; // in place of a number, with a comma or without
    if (text.starts_with(kMicE)) {
        text.remove_prefix(kMicE.size());
        if (text.starts_with(',')) text.remove_prefix(1);
    } else {
        const auto number = decimal_number(take_field(text));
        if (!number || *number < 0) return ReportFault::telemetry;
        out.sequence = *number;
    }
    if (text.empty()) return ReportFault::cut_short;
    for (double& value : out.analog) {
        if (text.empty()) break;
        const std::string_view field = take_field(text);
        if (field.empty()) continue;
        const auto number = decimal_number(field);
        if (!number) return ReportFault::telemetry;
        value = *number;
    }
    std::size_t bits = 0;
    while (bits < kBitCount && bits < text.size() && (text[bits] == '0' || text[bits] == '1')) ++bits;
    if (bits < kBitCount) return ReportFault::none; // a comment, or nothing
    for (std::size_t k = 0; k < kBitCount; ++k) out.bits[k] = text[k] - '0';
    text.remove_prefix(kBitCount);
    if (text.starts_with(',')) text.remove_prefix(1);
    return ReportFault::none;
}

bool names_telemetry(std::string_view text) noexcept {
    constexpr std::array<std::string_view, 4> kMarks{"PARM.", "UNIT.", "EQNS.", "BITS."};
    return std::ranges::any_of(kMarks, [&](std::string_view mark) { return text.starts_with(mark); });
}

ReportFault take_message(std::string_view& text, Report& out) noexcept {
    constexpr std::size_t kName = 9;
    if (text.size() < kName + 1) return ReportFault::cut_short;
    out.name = without_blanks_behind(text.substr(0, kName));
    if (text[kName] != ':' || out.name.empty()) return ReportFault::name;
    text.remove_prefix(kName + 1);
    if (names_telemetry(text)) out.kind = ReportKind::telemetry_names;
    return ReportFault::none;
}

/// A status may begin with a time in zulu (chapter 16).
void take_status_time(std::string_view& text, Report& out) noexcept {
    constexpr std::size_t kSize = 7;
    const auto is_digit = [](char c) { return c >= '0' && c <= '9'; };
    if (text.size() >= kSize && text[kSize - 1] == 'z' && std::ranges::all_of(text.substr(0, kSize - 1), is_digit))
        (void)take_time(text, out);
}

bool has_its_checksum(std::string_view sentence) noexcept {
    const std::size_t star = sentence.find('*');
    if (star == std::string_view::npos) return true;
    constexpr std::string_view kDigits = "0123456789ABCDEF";
    unsigned sum = 0;
    for (const char c : sentence.substr(1, star - 1)) sum ^= static_cast<unsigned char>(c);
    const std::array<char, 2> right{kDigits[sum >> 4U & 0x0FU], kDigits[sum & 0x0FU]};
    return sentence.substr(star + 1, 2) == std::string_view(right.data(), right.size());
}

/// A sentence of a GNSS receiver as it is: GGA, RMC or GLL (chapter 5).
ReportFault take_sentence(std::string_view text, Report& out) noexcept {
    constexpr double kDegreesOfStep = 1e-4 / 60; // of minutes, as receivers write them
    if (!has_its_checksum(text)) return ReportFault::sentence;
    const auto sentence = split_sentence(text.substr(0, text.find('*')));
    if (!sentence || sentence->talker == "P") return ReportFault::type;
    const std::string_view kind = sentence->formatter;
    const bool is_gga = kind == "GGA", is_rmc = kind == "RMC", is_gll = kind == "GLL";
    if (!is_gga && !is_rmc && !is_gll) return ReportFault::type;
    FieldReader in(*sentence);
    in.demand(sentence->count >= (is_gga ? 10U : is_rmc ? 8U : 4U));
    const std::size_t place = is_gga ? 1 : is_rmc ? 2 : 0, time = is_gll ? 4 : 0;
    ReportPosition& position = out.position;
    position.latitude_deg = in.latitude(place);
    position.longitude_deg = in.longitude(place + 2);
    const double time_s = in.time_of_day(time);
    if (is_gga) {
        position.is_current = in.number(5, 0, 9) > 0;
        position.height_msl_m = in.number(8, -1e5, 1e8);
    } else {
        position.is_current = in.letter(is_rmc ? 1 : 5) == 'A' || (is_gll && sentence->count < 6);
    }
    if (is_rmc) {
        position.speed_mps = in.number(6, 0, 4000) * kKnot_mps;
        position.course_deg = in.number(7, 0, 360);
    }
    if (!in.good() || !std::isfinite(position.latitude_deg) || !std::isfinite(position.longitude_deg))
        return ReportFault::sentence;
    position.format = PositionFormat::sentence;
    position.step_deg = kDegreesOfStep;
    if (time_s < 86'400) out.utc_time_of_day_s = time_s;
    return ReportFault::none;
}

/// A position behind a text of at most 40 characters, which some nodes put before it (chapter 5). Anything else is of
/// a type that the reference does not have.
ReportFault take_late_position(std::string_view& text, Report& out) noexcept {
    constexpr std::size_t kLatest = 40;
    const std::size_t at = text.substr(0, kLatest).find('!');
    if (at == std::string_view::npos) return ReportFault::type;
    text.remove_prefix(at + 1);
    out.kind = ReportKind::position;
    return take_position(text, out);
}

ReportFault read(std::string_view& text, std::string_view destination, Report& out) noexcept {
    if (text.empty()) return ReportFault::empty;
    const std::string_view whole = text;
    const char type = text[0];
    text.remove_prefix(1);
    const auto is = [&](ReportKind kind) {
        out.kind = kind;
        return ReportFault::none;
    };
    switch (type) {
    case '!':
        if (text.starts_with('!')) return is(ReportKind::weather); // a weather station's own numbers
        [[fallthrough]];
    case '=': (void)is(ReportKind::position); return take_position(text, out);
    case '/':
    case '@': {
        (void)is(ReportKind::position);
        const ReportFault fault = take_time(text, out);
        return fault == ReportFault::none ? take_position(text, out) : fault;
    }
    case '`':
    case '\'':
    case '\x1C':
    case '\x1D': {
        (void)is(ReportKind::position);
        const ReportFault fault = take_mic_e(text, destination, out);
        // Old data, but that one maker's radios, which put ] before their text, always send so (chapter 10).
        out.position.is_current = type == '`' || type == '\x1C' || (type == '\'' && text.starts_with(']'));
        return fault;
    }
    case '$':
        if (text.starts_with("ULTW")) return is(ReportKind::weather);
        (void)is(ReportKind::position);
        return take_sentence(whole, out);
    case ';': (void)is(ReportKind::object); return take_object(text, out);
    case ')': (void)is(ReportKind::item); return take_item(text, out);
    case ':': (void)is(ReportKind::message); return take_message(text, out);
    case '>': take_status_time(text, out); return is(ReportKind::status);
    case 'T':
        if (!text.starts_with('#')) break;
        (void)is(ReportKind::telemetry);
        return take_telemetry(text, out.telemetry);
    case '_': take_weather_alone(text, out); return is(ReportKind::weather);
    case '#':
    case '*': return is(ReportKind::weather);
    case '?': return is(ReportKind::query);
    case '<': return is(ReportKind::capabilities);
    case '{': return is(ReportKind::user_defined);
    case '[': return is(ReportKind::locator);
    case ',': return is(ReportKind::test);
    default: break;
    }
    text = whole;
    return take_late_position(text, out);
}

} // namespace

Report read_report(std::string_view information, std::string_view destination) noexcept {
    Report out;
    std::string_view text = information;
    out.fault = read(text, destination, out);
    out.text = text;
    if (out.fault == ReportFault::none) return out;
    out.position = {};
    out.telemetry = {};
    out.weather = {};
    out.text = information;
    return out;
}

bool read_equations(std::string_view text, std::array<TelemetryEquation, kAnalogCount>& equations) noexcept {
    std::array<TelemetryEquation, kAnalogCount> read = equations;
    for (TelemetryEquation& equation : read)
        for (double& coefficient : equation) {
            if (text.empty()) break;
            const std::string_view field = take_field(text);
            if (field.empty()) continue;
            const auto number = decimal_number(field);
            if (!number) return false;
            coefficient = *number;
        }
    equations = read;
    return true;
}

} // namespace turnstone
