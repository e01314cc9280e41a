#include "protocol/text/title.hpp"

#include <algorithm>
#include <array>
#include <map>
#include <tuple>

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

/// Place of the last word that tells one axis from another; npos: there is none.
std::size_t axis_at(std::string_view name) {
    constexpr auto kAxes = std::to_array<std::string_view>({"x", "y", "z", "w", "east", "north", "up"});
    const std::size_t at = name.rfind('_');
    if (at == std::string_view::npos || at == 0) return std::string_view::npos;
    const std::string_view last = name.substr(at + 1);
    const bool is_number =
        !last.empty() && last.size() <= 2 && std::ranges::all_of(last, [](char c) { return c >= '0' && c <= '9'; });
    return is_number || std::ranges::find(kAxes, last) != kAxes.end() ? at : std::string_view::npos;
}

/// The whole words that the titles begin with alike.
std::string_view common_beginning(std::span<const std::string_view> titles) {
    std::string_view common = titles.front();
    for (const std::string_view title : titles.subspan(1)) {
        const auto [ours, theirs] = std::ranges::mismatch(common, title);
        const auto ends = [](std::string_view text, auto at) { return at == text.end() || *at == ' '; };
        auto size = static_cast<std::size_t>(ours - common.begin());
        if (!ends(common, ours) || !ends(title, theirs)) {
            const std::size_t space = common.substr(0, size).rfind(' ');
            size = space == std::string_view::npos ? 0 : space;
        }
        common = common.substr(0, size);
    }
    return common.ends_with(',') ? common.substr(0, common.size() - 1) : common;
}

std::string_view strip_title(std::span<const std::string_view> titles, std::string_view group) {
    std::string_view title = common_beginning(titles);
    if (title.empty() && titles.size() > 2) title = common_beginning(titles.subspan(1));
    return title.empty() ? group : title;
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

std::vector<StripLine> strips_from_names(std::span<const ChannelLabels> channels) {
    std::map<std::tuple<std::string_view, std::string_view, std::string_view>, std::vector<std::size_t>> vectors;
    for (std::size_t i = 0; i < channels.size(); ++i) {
        const ChannelLabels& channel = channels[i];
        const std::size_t axis = channel.is_number ? axis_at(channel.name) : std::string_view::npos;
        if (axis == std::string_view::npos || channel.group.empty()) continue;
        vectors[{channel.name.substr(0, axis), channel.unit, channel.group}].push_back(i);
    }
    std::vector<StripLine> strips(channels.size());
    for (const auto& [key, members] : vectors) {
        if (members.size() < 2) continue;
        std::vector<std::string_view> titles;
        for (const std::size_t i : members) titles.push_back(channels[i].title);
        const std::string title(strip_title(titles, channels[members.front()].group));
        for (const std::size_t i : members) {
            const std::string_view name = channels[i].name;
            strips[i] = {title, std::string(name.substr(axis_at(name) + 1))};
        }
    }
    return strips;
}

} // namespace turnstone
