#include "protocol/dictionary/title.hpp"

#include <algorithm>
#include <array>

namespace turnstone {
namespace {

/// How a name says its unit, and the unit (UCUM).
struct UnitSuffix {
    std::string_view suffix;
    std::string_view unit;
};

constexpr auto kUnitSuffixes = std::to_array<UnitSuffix>({
    {"_m", "m"},         {"_km", "km"},         {"_mm", "mm"},       {"_m2", "m2"},       {"_mps", "m/s"},
    {"_mps2", "m/s2"},   {"_rad", "rad"},       {"_radps", "rad/s"}, {"_rad_s", "rad/s"}, {"_deg", "deg"},
    {"_degps", "deg/s"}, {"_pa", "Pa"},         {"_hpa", "hPa"},     {"_kpa", "kPa"},     {"_k", "K"},
    {"_c", "Cel"},       {"_kg", "kg"},         {"_kg_m3", "kg/m3"}, {"_n", "N"},         {"_n_s", "N.s"},
    {"_v", "V"},         {"_mv", "mV"},         {"_a", "A"},         {"_ma", "mA"},       {"_w", "W"},
    {"_s", "s"},         {"_ms", "ms"},         {"_us", "us"},       {"_ns", "ns"},       {"_h", "h"},
    {"_hz", "Hz"},       {"_rpm", "{rev}/min"}, {"_ut", "uT"},       {"_dbm", "dB{mW}"},  {"_db", "dB"},
    {"_ppm", "[ppm]"},   {"_percent", "%"},     {"_bytes", "By"},
});

std::string_view without_unit(std::string_view name, std::string_view unit) {
    for (const UnitSuffix& known : kUnitSuffixes)
        if (known.unit == unit && name.size() > known.suffix.size() && name.ends_with(known.suffix))
            return name.substr(0, name.size() - known.suffix.size());
    return name;
}

} // namespace

std::string title_from_name(std::string_view name, std::string_view unit) {
    constexpr std::string_view sigma = "_sigma";
    const bool is_sigma = name.size() > sigma.size() && name.ends_with(sigma);
    if (is_sigma) name.remove_suffix(sigma.size());
    std::string title(without_unit(name, unit));
    std::replace(title.begin(), title.end(), '_', ' ');
    if (!title.empty() && title.front() >= 'a' && title.front() <= 'z')
        title.front() = static_cast<char>(title.front() - 'a' + 'A');
    return is_sigma ? title + ", 1-sigma" : title;
}

} // namespace turnstone
