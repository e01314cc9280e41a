#include "server/report/text/figure.hpp"

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <utility>

#include <fmt/chrono.h>
#include <fmt/format.h>

#include "shared/time.hpp"

namespace turnstone {

namespace {

constexpr std::string_view kMinus = "−";
constexpr std::string_view kNarrowSpace = "\u202f";
constexpr std::string_view kFixedSpace = "\u00a0";

/// The decimal place of a sigma's first digit, after rounding to it: -1 for 0.2, 1 for 20.
int place_of(double sigma) {
    return static_cast<int>(std::floor(std::log10(std::stod(fmt::format("{:.0e}", sigma)))));
}

std::string rounded_to(double value, int place) {
    if (place <= 0) return fixed(value, -place);
    const double step = std::pow(10.0, place);
    return fixed(std::round(value / step) * step, 0);
}

bool has_sigma(double value, double sigma) {
    return std::isfinite(value) && std::isfinite(sigma) && sigma > 0;
}

/// Exponents raised, "m/s2" to "m/s²", and "kg.m2" to "kg·m²".
std::string typeset(std::string_view ucum) {
    static constexpr std::array<std::string_view, 10> kRaised{"⁰", "¹", "²", "³", "⁴", "⁵", "⁶", "⁷", "⁸", "⁹"};
    std::string symbol;
    bool after_letter = false;
    for (std::size_t i = 0; i < ucum.size(); ++i) {
        const char c = ucum[i];
        const bool digit = c >= '0' && c <= '9';
        if (digit && after_letter)
            symbol += kRaised[static_cast<std::size_t>(c - '0')];
        else if (c == '-' && after_letter)
            symbol += "⁻";
        else if (c == '.')
            symbol += "·";
        else if (ucum.substr(i, 3) == "deg" && (i == 0 || ucum[i - 1] == '.' || ucum[i - 1] == '/')) {
            symbol += "°";
            i += 2;
        } else if (std::string_view("[]{}").find(c) == std::string_view::npos)
            symbol += c;
        after_letter =
            (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == ']' || (after_letter && (digit || c == '-'));
    }
    return symbol;
}

std::string quantity_in(const ShownUnit& unit, double value, double sigma, int most) {
    std::string text = rounded(unit.shown(value), unit.gain * sigma, shown_decimals(unit, most));
    for (std::size_t at = 0; (at = text.find(' ', at)) != std::string::npos;) text.replace(at, 1, kFixedSpace);
    // A degree of arc stands at its figure, every other unit after a space (SI Brochure, 5.4.3).
    if (unit.symbol.empty() || !std::isfinite(value)) return text;
    return text + (unit.symbol == "°" ? "" : std::string(kFixedSpace)) + unit.symbol;
}

struct NamedUnit {
    std::string_view ucum;
    std::string_view symbol;
    double gain;
    double offset;
};
constexpr NamedUnit kUnits[] = {
    {"1", "", 1, 0},         {"", "", 1, 0},
    {"K", "°C", 1, -273.15}, {"Cel", "°C", 1, 0},
    {"Pa", "hPa", 0.01, 0},  {"By", "B", 1, 0},
    {"[ppm]", "ppm", 1, 0},  {"{fraction}", "%", 100, 0},
    {"uT", "µT", 1, 0},      {"us", "µs", 1, 0},
    {"dB{mW}", "dBm", 1, 0}, {"rad/s", "°/s", 57.29577951308232, 0},
    {"Ohm", "Ω", 1, 0},      {"rad", "°", 57.29577951308232, 0},
};

} // namespace

std::string fixed(double value, int decimals) {
    if (!std::isfinite(value)) return std::string(kNoFigure);
    std::string text = fmt::format("{:.{}f}", value, decimals);
    if (text.front() != '-') return text;
    text.erase(0, 1);
    const bool zero = text.find_first_not_of("0.") == std::string::npos;
    return zero ? text : std::string(kMinus) + text;
}

std::string from_to(double low, double high, int decimals) {
    const std::string from = fixed(low, decimals), to = fixed(high, decimals);
    return from == to ? from : from + " to " + to;
}

std::string with_sign(double value, int decimals) {
    std::string text = fixed(value, decimals);
    return std::isfinite(value) && !text.starts_with(kMinus) ? "+" + text : text;
}

std::string rounded(double value, double sigma, int most) {
    if (!has_sigma(value, sigma)) return fixed(value, most);
    const int place = std::max(place_of(sigma), -most);
    // A ± below the last place that is shown is not 0: it reads as one there.
    const double least = std::pow(10.0, place);
    return fmt::format("{} ±{}{}", rounded_to(value, place), kNarrowSpace, rounded_to(std::max(sigma, least), place));
}

std::string rounded_with_sign(double value, double sigma, int most) {
    std::string text = rounded(value, sigma, most);
    const bool is_zero = text.substr(0, text.find(' ')).find_first_not_of("0.") == std::string::npos;
    return std::isfinite(value) && !is_zero && !text.starts_with(kMinus) ? "+" + text : text;
}

std::string significant(double value, int digits) {
    if (!std::isfinite(value)) return std::string(kNoFigure);
    if (value == 0) return "0";
    const double to_digits = std::stod(fmt::format("{:.{}e}", value, digits - 1));
    return rounded_to(to_digits, static_cast<int>(std::floor(std::log10(std::abs(to_digits)))) - digits + 1);
}

ShownUnit shown_unit(std::string_view ucum) {
    const auto* known = std::ranges::find(kUnits, ucum, &NamedUnit::ucum);
    if (known != std::end(kUnits)) return {std::string(known->symbol), known->gain, known->offset};
    return {typeset(ucum), 1, 0};
}

ShownUnit shown_unit_near(std::string_view ucum, double value) {
    const double size = std::abs(value);
    if (ucum == "s" && size < 1) return {"ms", 1e3, 0};
    if (ucum == "Pa" && size < 10'000) return size < 1'000 ? ShownUnit{"Pa", 1, 0} : ShownUnit{"kPa", 1e-3, 0};
    if (ucum == "A" && size < 1) return {"mA", 1e3, 0};
    return shown_unit(ucum);
}

int shown_decimals(const ShownUnit& unit, int decimals) {
    return std::clamp(decimals - static_cast<int>(std::lround(std::log10(unit.gain))), 0, 9);
}

std::string quantity(double value, double sigma, int most, std::string_view ucum) {
    return quantity_in(shown_unit(ucum), value, sigma, most);
}

std::string quantity_near(double value, double sigma, int most, std::string_view ucum) {
    return quantity_in(shown_unit_near(ucum, value), value, sigma, most);
}

std::string duration_text(double seconds) {
    if (!std::isfinite(seconds) || seconds < 0) return std::string(kNoFigure);
    const auto whole = static_cast<std::int64_t>(std::llround(seconds));
    const std::int64_t hours = whole / 3600;
    const std::int64_t minutes = whole / 60 % 60;
    if (hours > 0) return fmt::format("{}\u00a0h {:02}\u00a0min", hours, minutes);
    return minutes > 0 ? fmt::format("{}\u00a0min {:02}\u00a0s", minutes, whole % 60) : fmt::format("{}\u00a0s", whole);
}

std::string flight_clock(double seconds, int decimals) {
    if (!std::isfinite(seconds)) return std::string(kNoFigure);
    const double scale = std::pow(10.0, decimals);
    // Truncated, as every clock is.
    const auto ticks = static_cast<std::int64_t>(std::floor(std::abs(seconds) * scale + 1e-6));
    const auto per_second = static_cast<std::int64_t>(scale);
    const std::int64_t whole = ticks / per_second;
    std::string text = fmt::format("T{}", seconds < 0 && ticks > 0 ? kMinus : "+");
    text += whole >= 3600 ? fmt::format("{}:{:02}", whole / 3600, whole / 60 % 60) : fmt::format("{}", whole / 60 % 60);
    text += fmt::format(":{:02}", whole % 60);
    return decimals > 0 ? text + fmt::format(".{:0{}}", ticks % per_second, decimals) : text;
}

std::string utc_time(std::int64_t utc_ns) {
    const std::chrono::sys_seconds at{std::chrono::seconds(utc_ns / kNsPerS)};
    return fmt::format("{:%H:%M:%S}", fmt::gmtime(std::chrono::system_clock::to_time_t(at)));
}

std::string utc_date(std::int64_t utc_ns) {
    const std::chrono::sys_seconds at{std::chrono::seconds(utc_ns / kNsPerS)};
    return fmt::format("{:%Y-%m-%d}", fmt::gmtime(std::chrono::system_clock::to_time_t(at)));
}

std::string size_text(double bytes) {
    static constexpr std::array<std::string_view, 5> kNames{"B", "kB", "MB", "GB", "TB"};
    std::size_t step = 0;
    for (; bytes >= 999.5 && step + 1 < kNames.size(); ++step) bytes /= 1000;
    return fmt::format("{:.{}f}\u00a0{}", bytes, step == 0 || bytes >= 100 ? 0 : 1, kNames[step]);
}

std::string bearing_text(double degrees) {
    if (!std::isfinite(degrees)) return std::string(kNoFigure);
    const auto whole = std::llround(degrees) % 360;
    return fmt::format("{:03}°", whole < 0 ? whole + 360 : whole);
}

std::string fraction_text(double fraction) {
    if (!std::isfinite(fraction)) return std::string(kNoFigure);
    const double percent = 100 * fraction;
    if (percent > 0 && percent < 0.1) return "less than 0.1\u00a0%";
    return fixed(percent, percent > 0 && percent < 10 ? 1 : 0) + "\u00a0%";
}

std::string capital(std::string text) {
    if (!text.empty() && text.front() >= 'a' && text.front() <= 'z')
        text.front() = static_cast<char>(text.front() - 'a' + 'A');
    return text;
}

} // namespace turnstone
