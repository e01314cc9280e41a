#pragma once
/// Weather in the information field: chapter 12 of the APRS Protocol Reference 1.0.1. Inner part of read_report().
#include <string_view>

#include "protocol/packet_radio/report.hpp"

namespace turnstone {

inline constexpr double kMileAnHour_mps = 0.44704, kInch_mm = 25.4;

/// Behind the symbol of a weather station: "220/004" unless the place was compressed, then fields of a letter and
/// digits. Takes what it reads off the front of `text`.
void take_weather_at_place(std::string_view& text, bool has_wind_first, ReportWeather& out) noexcept;
/// Without a place: month, day, hour and minute, then the same fields, of which c and s are the wind.
void take_weather_alone(std::string_view& text, Report& out) noexcept;

} // namespace turnstone
