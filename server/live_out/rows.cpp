#include "server/live_out/rows.hpp"

#include <cmath>
#include <numbers>
#include <string_view>

#include <nlohmann/json.hpp>

#include "protocol/nmea/position_sentences.hpp"
#include "server/exchange/write/text.hpp"

namespace turnstone {

namespace {

double named_number(const Batch& batch, const RowRecord& row, const Table& table, std::string_view name) {
    const auto numbers = batch.numbers_of(row, table);
    for (std::size_t k = 0; k < table.number_count; ++k)
        if (table.columns[k].name == name) return numbers[k];
    return std::nan("");
}

} // namespace

std::string json_line(const Batch& batch, const RowRecord& row, const Table& table, std::int64_t utc_ns) {
    nlohmann::ordered_json values = nlohmann::ordered_json::object();
    const auto numbers = batch.numbers_of(row, table);
    const auto texts = batch.texts_of(row, table);
    for (std::size_t k = 0; k < table.columns.size(); ++k) {
        auto& value = values[table.columns[k].name];
        if (k >= table.number_count)
            value = texts[k - table.number_count];
        else if (std::isinf(numbers[k]))
            value = numbers[k] < 0 ? "-Infinity" : "Infinity"; // JSON has no such number
        else if (!std::isnan(numbers[k]))
            value = numbers[k];
    }
    nlohmann::ordered_json line;
    line["series"] = table.name;
    line["utc"] = exchange::utc_text(utc_ns);
    line["values"] = std::move(values);
    return line.dump(-1, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n";
}

std::string sentences_of(const Batch& batch, const RowRecord& row, const Table& table, double geoid_height_m,
                         std::int64_t utc_ns) {
    const auto number = [&](std::string_view name) { return named_number(batch, row, table, name); };
    SaidPosition said{.utc_ns = utc_ns,
                      .latitude_deg = number("latitude_deg"),
                      .longitude_deg = number("longitude_deg"),
                      .altitude_msl_m = number("altitude_msl_m"),
                      .geoid_height_m = geoid_height_m,
                      .speed_mps = std::nan(""),
                      .course_deg = std::nan(""),
                      .estimated = true};
    if (!(std::abs(said.latitude_deg) <= 90) || !std::isfinite(said.longitude_deg)) return "";
    const double east_mps = number("velocity_east_mps"), north_mps = number("velocity_north_mps");
    said.speed_mps = std::hypot(east_mps, north_mps);
    constexpr double kStill_mps = 0.1; // below it the course says nothing
    if (said.speed_mps >= kStill_mps) said.course_deg = std::atan2(east_mps, north_mps) * 180 / std::numbers::pi;
    const double mode = number("mode");
    for (const Column& column : table.columns)
        if (column.name == "mode")
            for (const auto& [value, word] : column.enumeration)
                if (static_cast<double>(value) == mode) said.estimated = word == "dead reckoning" || word == "lost";
    return position_sentences(said);
}

} // namespace turnstone
