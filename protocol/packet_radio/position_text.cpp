#include "protocol/packet_radio/position_text.hpp"

#include <algorithm>
#include <cmath>

#include "protocol/packet_radio/comment.hpp"
#include "protocol/packet_radio/digit_text.hpp"
#include "protocol/packet_radio/weather.hpp"

namespace turnstone {
namespace {

constexpr double kDegreesOfMinute = 1.0 / 60;

constexpr std::size_t kLatitudeSize = 8, kLongitudeSize = 9; // DDMM.hhN, DDDMM.hhW
constexpr std::size_t kUncompressedSize = kLatitudeSize + 1 + kLongitudeSize + 1;
constexpr std::size_t kCompressedSize = 13;

ReportFault take_uncompressed(std::string_view& text, ReportPosition& out) noexcept {
    if (text.size() < kUncompressedSize) return ReportFault::cut_short;
    const auto letter = [&](std::size_t k) { return static_cast<char>(text[k] & ~0x20); }; // of either case
    const char north = letter(7), east = letter(17);
    std::array<char, 6> latitude{text[0], text[1], text[2], text[3], text[5], text[6]};
    std::array<char, 6> longitude{text[10], text[11], text[12], text[13], text[15], text[16]};
    const auto view = [](const std::array<char, 6>& digits) { return std::string_view(digits.data(), digits.size()); };
    const unsigned blank = blanks_at_end(view(latitude)), blank_across = blanks_at_end(view(longitude));
    if (text[4] != '.' || (north != 'N' && north != 'S') || blank > kAmbiguityMost) return ReportFault::latitude;
    if (text[14] != '.' || (east != 'E' && east != 'W') || blank_across > kAmbiguityMost || !is_digit(text[9]))
        return ReportFault::longitude;
    out.ambiguity = std::max(blank, blank_across); // of the latitude; it holds for both (chapter 6)
    double degrees = 0, step_deg = 0;
    if (!angle_of_digits(view(latitude), out.ambiguity, degrees, out.step_deg) || degrees > 90)
        return ReportFault::latitude;
    out.latitude_deg = north == 'N' ? degrees : -degrees;
    if (!angle_of_digits(view(longitude), out.ambiguity, degrees, step_deg)) return ReportFault::longitude;
    degrees += 100 * (text[9] - '0');
    if (degrees > 180) return ReportFault::longitude;
    out.longitude_deg = east == 'E' ? degrees : -degrees;
    out.symbol = {text[8], text[18]};
    out.format = PositionFormat::uncompressed;
    // Zero and zero is what senders without a fix say, "\." beside it the null position of chapter 6.
    out.is_current = out.latitude_deg != 0 || out.longitude_deg != 0;
    text.remove_prefix(kUncompressedSize);
    return ReportFault::none;
}

/// CSE/SPD right behind the symbol (chapter 7).
void take_course_and_speed(std::string_view& text, ReportPosition& out) noexcept {
    constexpr std::size_t kSize = 7;
    if (text.size() < kSize || text[3] != '/' || !are_digits(text.substr(0, 3)) || !are_digits(text.substr(4, 3)))
        return;
    const int course = number_of(text.substr(0, 3));
    const bool is_area = out.symbol == std::array{'\\', 'l'}; // of a drawn area its size
    const bool is_wind = out.symbol[1] == kWeatherSymbol;
    if (course > 360 || is_area || is_wind) return;
    out.speed_mps = number_of(text.substr(4, 3)) * kKnot_mps;
    out.course_deg = course == 0 ? kNaN : course % 360; // 0: unknown, 360: north
    out.speed_step_mps = kKnot_mps;
    out.course_step_deg = 1;
    text.remove_prefix(kSize);
}

ReportFault take_compressed(std::string_view& text, ReportPosition& out, ReportWeather& weather) noexcept {
    if (text.size() < kCompressedSize) return ReportFault::cut_short;
    constexpr double kLatitudeSteps = 380926, kLongitudeSteps = 190463; // a degree
    const std::string_view latitude = text.substr(1, 4), longitude = text.substr(5, 4);
    if (!are_base91(latitude)) return ReportFault::latitude;
    if (!are_base91(longitude)) return ReportFault::longitude;
    const double north_deg = 90 - base91(latitude) / kLatitudeSteps;
    const double east_deg = -180 + base91(longitude) / kLongitudeSteps;
    if (north_deg < -90) return ReportFault::latitude;
    if (east_deg > 180) return ReportFault::longitude;
    out.latitude_deg = north_deg;
    out.longitude_deg = east_deg;
    out.step_deg = 1 / kLongitudeSteps;
    // a to j stand for the digits 0 to 9 of an overlay.
    const char table = text[0];
    out.symbol = {table >= 'a' && table <= 'j' ? static_cast<char>(table - 'a' + '0') : table, text[9]};
    out.format = PositionFormat::compressed;
    const char c = text[10], s = text[11], type = text[12];
    text.remove_prefix(kCompressedSize);
    if (c == ' ' || !is_base91(c) || !is_base91(s) || type < '!') return ReportFault::none; // nothing more is said
    constexpr unsigned kOfCurrentFix = 0x20, kSource = 0x18, kOfGga = 0x10;
    const unsigned says = base91(type);
    out.is_current = (says & kOfCurrentFix) != 0;
    if ((says & kSource) == kOfGga) {
        constexpr double kHeightBase = 1.002;
        out.height_msl_m = std::pow(kHeightBase, base91(c) * kBase91 + base91(s)) * kFoot_m;
        return ReportFault::none;
    }
    if (c == '{') return ReportFault::none; // the range of a radio
    constexpr double kSpeedBase = 1.08, kCourseStep_deg = 4;
    const double course_deg = base91(c) * kCourseStep_deg;
    const double speed_mps = (std::pow(kSpeedBase, base91(s)) - 1) * kKnot_mps;
    if (out.symbol[1] == kWeatherSymbol) {
        weather.wind_from_deg = course_deg;
        weather.wind_mps = speed_mps;
        weather.is_said = true;
        return ReportFault::none;
    }
    out.course_deg = course_deg;
    out.speed_mps = speed_mps;
    out.course_step_deg = kCourseStep_deg;
    out.speed_step_mps = (kSpeedBase - 1) * (out.speed_mps + kKnot_mps);
    return ReportFault::none;
}

} // namespace

unsigned blanks_at_end(std::string_view digits) noexcept {
    const std::size_t kept = digits.find_last_not_of(' ') + 1;
    return are_digits(digits.substr(0, kept)) ? static_cast<unsigned>(digits.size() - kept) : kAmbiguityMost + 1;
}

bool angle_of_digits(std::string_view digits, unsigned ambiguity, double& degrees, double& step_deg) noexcept {
    // Of the digits DDMMhh, hundredths of minutes: what each place counts.
    constexpr std::array<int, 6> kHundredths{60'000, 6'000, 1'000, 100, 10, 1};
    constexpr std::array<int, kAmbiguityMost + 1> kSteps{1, 10, 100, 1'000, 6'000};
    const std::size_t known = digits.size() - ambiguity;
    int hundredths = 0;
    for (std::size_t k = 0; k < known; ++k) {
        if (!is_digit(digits[k])) return false;
        if (k == 2 && digits[k] > '5') return false;
        hundredths += kHundredths[k] * (digits[k] - '0');
    }
    const int step = kSteps[ambiguity];
    const double middle = ambiguity == 0 ? 0 : 0.5 * step;
    degrees = (hundredths + middle) / 100 * kDegreesOfMinute;
    step_deg = step / 100.0 * kDegreesOfMinute;
    return true;
}

ReportFault take_time(std::string_view& text, Report& report) noexcept {
    constexpr std::size_t kSize = 7;
    if (text.size() < kSize) return ReportFault::cut_short;
    const char kind = text[kSize - 1];
    if (kind != 'z' && kind != '/' && kind != 'h') return ReportFault::time;
    report.time = text.substr(0, kSize);
    text.remove_prefix(kSize);
    const std::string_view digits = report.time.substr(0, kSize - 1);
    if (!are_digits(digits) || kind != 'h') return ReportFault::none;
    const int hour = number_of(digits.substr(0, 2)), minute = number_of(digits.substr(2, 2));
    const int second = number_of(digits.substr(4, 2));
    if (hour < 24 && minute < 60 && second < 60) report.utc_time_of_day_s = 3600 * hour + 60 * minute + second;
    return ReportFault::none;
}

ReportFault take_position(std::string_view& text, Report& report) noexcept {
    if (text.empty()) return ReportFault::cut_short;
    ReportPosition& out = report.position;
    const char first = text[0];
    // A table, or an overlay: letters as they are, digits as a to j (chapter 9).
    const bool is_compressed =
        first == '/' || first == '\\' || (first >= 'A' && first <= 'Z') || (first >= 'a' && first <= 'j');
    if (!is_compressed && !is_digit(first) && first != ' ') return ReportFault::latitude;
    const ReportFault fault = is_compressed ? take_compressed(text, out, report.weather) : take_uncompressed(text, out);
    if (fault != ReportFault::none) return fault;
    if (!is_compressed) take_course_and_speed(text, out);
    if (out.symbol[1] == kWeatherSymbol) take_weather_at_place(text, !is_compressed, report.weather);
    read_comment(text, report);
    return ReportFault::none;
}

} // namespace turnstone
