#include "server/exchange/import/first_look.hpp"

#include <algorithm>
#include <string_view>

#include "protocol/framing/line_deframer.hpp"
#include "protocol/lines/line_values.hpp"

namespace turnstone::exchange {

namespace {

constexpr std::size_t kLines = 4; ///< the header and what is shown of the values

std::span<const std::byte> bytes_of(const std::string& line) {
    return std::as_bytes(std::span(line));
}

/// How many values the separator makes of each line; 0: not of each the same.
std::size_t columns_with(const std::vector<std::string>& lines, char separator, LineValues& values) {
    std::size_t columns = 0;
    for (const std::string& line : lines) {
        if (!values.split(bytes_of(line), separator)) return 0;
        if (columns != 0 && values.values().size() != columns) return 0;
        columns = values.values().size();
    }
    return columns;
}

} // namespace

FirstLook look_at_log(std::span<const std::byte> beginning) {
    std::vector<std::string> lines;
    std::size_t bad = 0;
    LineDeframer deframer({.checksum = LineChecksum::none});
    deframer.push(beginning, [&](const Frame& frame) {
        if (frame.verdict != FrameVerdict::good) {
            ++bad;
            return;
        }
        const std::string_view line(reinterpret_cast<const char*>(frame.packet.data()), frame.packet.size()); // NOLINT
        if (lines.size() < kLines && !line.starts_with('#')) lines.emplace_back(line);
    });
    FirstLook out;
    if (bad > 0 || lines.size() < 2) return out;
    LineValues values;
    std::size_t most = 1;
    for (const char separator : {',', ';', '\t', ' '}) {
        const std::size_t columns = columns_with(lines, separator, values);
        if (columns <= most) continue;
        most = columns;
        out.separator = separator;
    }
    if (most < 2 || !values.split(bytes_of(lines.front()), out.separator)) return out;
    const auto is_value = [](std::string_view name) { return line_number(name, '.').has_value(); };
    if (std::ranges::any_of(values.values(), is_value)) return out; // no header line
    for (const std::string_view name : values.values()) out.columns.push_back({.name = std::string(name), .first = {}});
    out.is_columns = true;
    std::size_t with_points = 0, with_commas = 0;
    for (std::size_t i = 1; i < lines.size(); ++i) {
        if (!values.split(bytes_of(lines[i]), out.separator)) continue;
        for (std::size_t c = 0; c < out.columns.size(); ++c) {
            const std::string_view value = values.values()[c];
            out.columns[c].first.emplace_back(value);
            with_points += line_number(value, '.').has_value();
            with_commas += line_number(value, ',').has_value();
        }
    }
    if (with_commas > with_points) out.decimal = ',';
    for (LookedAtColumn& column : out.columns)
        column.is_number = std::ranges::all_of(
            column.first, [&](const std::string& value) { return line_number(value, out.decimal).has_value(); });
    return out;
}

} // namespace turnstone::exchange
