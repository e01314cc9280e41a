#include "protocol/packet_radio/report_encoder.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <utility>

#include "protocol/packet_radio/position_text.hpp"
#include "protocol/packet_radio/weather.hpp"

namespace turnstone {
namespace {

template <class... Value>
std::string printed(const char* format, Value... value) {
    std::array<char, 96> out{};
    std::snprintf(out.data(), out.size(), format, value...);
    return out.data();
}

/// Degrees, minutes and hundredths of minutes, rounded.
struct Angle {
    int degrees, minutes, hundredths;
};
Angle angle_of(double degrees) {
    const int all = static_cast<int>(std::lround(std::abs(degrees) * 6000));
    return {all / 6000, all / 100 % 60, all % 100};
}

/// Blanks in place of the last digits.
std::string with_ambiguity(std::string text, unsigned digits) {
    for (auto at = text.rbegin(); at != text.rend() && digits > 0; ++at)
        if (*at != '.') *at = ' ', --digits;
    return text;
}

std::string base91_text(double value, int digits) {
    auto left = static_cast<long>(std::lround(value));
    std::string out(static_cast<std::size_t>(digits), '!');
    for (auto at = out.rbegin(); at != out.rend(); ++at, left /= 91) *at = static_cast<char>('!' + left % 91);
    return out;
}

bool has_motion(const ReportToSend& report) {
    return std::isfinite(report.speed_mps) && std::isfinite(report.course_deg);
}

/// 1 to 360: 0 would say that it is unknown.
int course_of(const ReportToSend& report) {
    const int course = static_cast<int>(std::lround(report.course_deg)) % 360;
    return course == 0 ? 360 : course;
}

int knots_of(const ReportToSend& report) {
    return static_cast<int>(std::lround(report.speed_mps / kKnot_mps));
}

std::string height_comment(const ReportToSend& report) {
    return std::isfinite(report.height_msl_m) ? printed("/A=%06ld", std::lround(report.height_msl_m / kFoot_m)) : "";
}

std::string uncompressed(const ReportToSend& report) {
    const Angle north = angle_of(report.latitude_deg), east = angle_of(report.longitude_deg);
    return with_ambiguity(printed("%02d%02d.%02d", north.degrees, north.minutes, north.hundredths), report.ambiguity) +
           (report.latitude_deg < 0 ? 'S' : 'N') + report.symbol[0] +
           with_ambiguity(printed("%03d%02d.%02d", east.degrees, east.minutes, east.hundredths), report.ambiguity) +
           (report.longitude_deg < 0 ? 'W' : 'E') + report.symbol[1] +
           (has_motion(report) ? printed("%03d/%03d", course_of(report), knots_of(report)) : "");
}

std::string compressed(const ReportToSend& report) {
    const char table = report.symbol[0];
    std::string out(1, table >= '0' && table <= '9' ? static_cast<char>(table - '0' + 'a') : table);
    out += base91_text(380926 * (90 - report.latitude_deg), 4) + base91_text(190463 * (180 + report.longitude_deg), 4);
    out += report.symbol[1];
    constexpr char kOfRmc = '!' + 0x3A; // a current fix, by RMC, by software
    if (!has_motion(report)) return out + " s" + kOfRmc;
    const auto course = static_cast<char>('!' + std::lround(report.course_deg / 4) % 90);
    const auto speed =
        static_cast<char>('!' + std::lround(std::log(report.speed_mps / kKnot_mps + 1) / std::log(1.08)));
    return out + course + speed + kOfRmc;
}

SentReport mic_e(const ReportToSend& report) {
    const Angle north = angle_of(report.latitude_deg), east = angle_of(report.longitude_deg);
    const std::string digits =
        with_ambiguity(printed("%02d%02d%02d", north.degrees, north.minutes, north.hundredths), report.ambiguity);
    SentReport out;
    const std::array<bool, 6> bits{true,
                                   true,
                                   false,
                                   report.latitude_deg >= 0,
                                   east.degrees >= 100 || east.degrees < 10,
                                   report.longitude_deg < 0};
    for (std::size_t k = 0; k < bits.size(); ++k) {
        const char zero = bits[k] ? 'P' : '0';
        out.destination += digits[k] == ' ' ? (bits[k] ? 'Z' : 'L') : static_cast<char>(zero + (digits[k] - '0'));
    }
    const auto add = [&](int value) { out.information += static_cast<char>(value + 28); };
    out.information = "`";
    add(east.degrees < 10    ? east.degrees + 90
        : east.degrees < 100 ? east.degrees
        : east.degrees < 110 ? east.degrees - 20
                             : east.degrees - 100);
    add(east.minutes < 10 ? east.minutes + 60 : east.minutes);
    add(east.hundredths);
    const int speed = has_motion(report) ? knots_of(report) : 0, course = has_motion(report) ? course_of(report) : 0;
    add(speed / 10);
    add(speed % 10 * 10 + course / 100);
    add(course % 100);
    out.information += {report.symbol[1], report.symbol[0]};
    if (std::isfinite(report.height_msl_m)) out.information += base91_text(report.height_msl_m + 10'000, 3) + "}";
    out.information += report.comment;
    return out;
}

/// Miles an hour, degrees Fahrenheit, hundredths of an inch: three digits each; points for what is not told.
std::string three_digits(double value, double unit) {
    return std::isfinite(value) ? printed("%03ld", std::lround(value / unit)) : "...";
}

std::string wind_from(const ReportWeather& weather) {
    if (!std::isfinite(weather.wind_from_deg)) return "...";
    const long from = std::lround(weather.wind_from_deg) % 360;
    return printed("%03ld", from == 0 ? 360 : from);
}

/// Everything but the wind.
std::string weather_fields(const ReportWeather& weather) {
    std::string out = "g" + three_digits(weather.gust_mps, kMileAnHour_mps) + "t" +
                      three_digits(weather.temperature_degc * 1.8 + 32, 1);
    const auto add = [&](char letter, double value, double unit) {
        if (std::isfinite(value)) out += letter + three_digits(value, unit);
    };
    add('r', weather.rain_1h_mm, kInch_mm / 100);
    add('p', weather.rain_24h_mm, kInch_mm / 100);
    add('P', weather.rain_midnight_mm, kInch_mm / 100);
    if (std::isfinite(weather.humidity_percent)) out += printed("h%02ld", std::lround(weather.humidity_percent) % 100);
    if (std::isfinite(weather.pressure_pa)) out += printed("b%05ld", std::lround(weather.pressure_pa / 10));
    const bool is_bright = weather.luminosity_wpm2 >= 999.5;
    add(is_bright ? 'l' : 'L', weather.luminosity_wpm2 - (is_bright ? 1000 : 0), 1);
    add('s', weather.snow_mm, kInch_mm);
    return out;
}

} // namespace

SentReport encode_report(const ReportToSend& report, const std::string& destination) {
    if (report.format == PositionFormat::mic_e) return mic_e(report);
    SentReport out{destination, "!"};
    if (report.second_of_day) {
        const unsigned s = *report.second_of_day;
        out.information = printed("/%02u%02u%02uh", s / 3600 % 24, s / 60 % 60, s % 60);
    }
    out.information += report.format == PositionFormat::compressed ? compressed(report) : uncompressed(report);
    out.information += height_comment(report) + report.comment;
    return out;
}

SentReport encode_weather(ReportToSend place, const ReportWeather& weather, const std::string& destination) {
    const std::string comment = std::exchange(place.comment, "");
    place.symbol[1] = '_';
    const bool has_wind_first = place.format == PositionFormat::uncompressed;
    place.course_deg = has_wind_first ? kNaN : weather.wind_from_deg;
    place.speed_mps = has_wind_first ? kNaN : weather.wind_mps;
    place.height_msl_m = kNaN; // would stand before the fields
    SentReport out = encode_report(place, destination);
    if (has_wind_first) out.information += wind_from(weather) + "/" + three_digits(weather.wind_mps, kMileAnHour_mps);
    out.information += weather_fields(weather) + comment;
    return out;
}

std::string encode_weather(const std::string& time, const ReportWeather& weather) {
    return "_" + time + "c" + wind_from(weather) + "s" + three_digits(weather.wind_mps, kMileAnHour_mps) +
           weather_fields(weather);
}

std::string encode_telemetry(unsigned sequence, const std::array<unsigned, kAnalogCount>& analog, unsigned bits) {
    std::string out = printed("T#%03u", sequence % 1000);
    for (const unsigned value : analog) out += printed(",%03u", value);
    out += ",";
    for (std::size_t k = 0; k < kBitCount; ++k) out += (bits >> (kBitCount - 1 - k) & 1U) != 0 ? '1' : '0';
    return out;
}

} // namespace turnstone
