#include "protocol/packet_radio/weather.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

#include "protocol/packet_radio/digit_text.hpp"

namespace turnstone {
namespace {

/// Digits; NaN for points or blanks in their place; nothing for anything else.
std::optional<double> value_of(std::string_view field) noexcept {
    if (are_digits(field)) return number_of(field);
    const auto all = [&](char c) { return std::ranges::all_of(field, [c](char each) { return each == c; }); };
    if (all('.') || all(' ')) return kNaN;
    return std::nullopt;
}

double direction_of(double degrees) noexcept {
    return degrees == 0 || degrees > 360 ? kNaN : std::fmod(degrees, 360); // 0: not known, 360: north (chapter 7)
}

std::size_t size_of(char letter) noexcept {
    switch (letter) {
    case 'h': return 2;
    case 'b': return 5;
    case 'c':
    case 's':
    case 'g':
    case 't':
    case 'r':
    case 'p':
    case 'P':
    case 'L':
    case 'l':
    case '#': return 3;
    default: return 0;
    }
}

void keep(char letter, double value, bool is_wind, ReportWeather& out) noexcept {
    constexpr double kHundredth_mm = kInch_mm / 100, kTenthOfHectopascal_pa = 10;
    switch (letter) {
    case 'c': out.wind_from_deg = direction_of(value); break;
    case 's': (is_wind ? out.wind_mps : out.snow_mm) = value * (is_wind ? kMileAnHour_mps : kInch_mm); break;
    case 'g': out.gust_mps = value * kMileAnHour_mps; break;
    case 't': out.temperature_degc = (value - 32) / 1.8; break;
    case 'r': out.rain_1h_mm = value * kHundredth_mm; break;
    case 'p': out.rain_24h_mm = value * kHundredth_mm; break;
    case 'P': out.rain_midnight_mm = value * kHundredth_mm; break;
    case 'h': out.humidity_percent = value == 0 ? 100 : value; break; // of two digits
    case 'b': out.pressure_pa = value * kTenthOfHectopascal_pa; break;
    case 'L': out.luminosity_wpm2 = value; break;
    case 'l': out.luminosity_wpm2 = value + 1000; break;
    default: break; // a rain gauge's own count
    }
    out.is_said = out.is_said || std::isfinite(value);
}

/// Up to the first that is none: the sender's kind, or a comment.
void take_fields(std::string_view& text, bool has_wind, ReportWeather& out) noexcept {
    bool is_wind = has_wind; // the first s; a later one is snow
    while (!text.empty()) {
        const char letter = text[0];
        const std::size_t size = size_of(letter);
        if (size == 0 || text.size() < 1 + size || (letter == 'c' && !has_wind)) return;
        const std::string_view field = text.substr(1, size);
        const bool is_below = letter == 't' && field[0] == '-' && are_digits(field.substr(1));
        const auto value = is_below ? -number_of(field.substr(1)) : value_of(field);
        if (!value) return;
        keep(letter, *value, is_wind, out);
        if (letter == 's') is_wind = false;
        text.remove_prefix(1 + size);
    }
}

} // namespace

void take_weather_at_place(std::string_view& text, bool has_wind_first, ReportWeather& out) noexcept {
    constexpr std::size_t kSize = 7, kHalf = 3;
    if (has_wind_first && text.size() >= kSize && text[kHalf] == '/') {
        const auto from = value_of(text.substr(0, kHalf)), speed = value_of(text.substr(kHalf + 1, kHalf));
        if (from && speed) {
            out.wind_from_deg = direction_of(*from);
            out.wind_mps = *speed * kMileAnHour_mps;
            out.is_said = std::isfinite(*speed);
            text.remove_prefix(kSize);
        }
    }
    take_fields(text, false, out);
}

void take_weather_alone(std::string_view& text, Report& out) noexcept {
    constexpr std::size_t kTime = 8; // MMDDHHMM
    if (text.size() < kTime || !are_digits(text.substr(0, kTime))) return;
    out.time = text.substr(0, kTime);
    text.remove_prefix(kTime);
    take_fields(text, true, out.weather);
}

} // namespace turnstone
