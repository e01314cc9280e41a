#pragma once
/// Positions in the information field: chapters 6 to 9 of the APRS Protocol Reference 1.0.1. Each takes what it reads
/// off the front of `text`, and says what cannot be. Inner part of read_report().
#include <string_view>

#include "protocol/packet_radio/report.hpp"
#include "shared/constants.hpp"

namespace turnstone {

inline constexpr unsigned kAmbiguityMost = 4;
inline constexpr char kWeatherSymbol = '_';

/// DDHHMM with z or /, HHMMSS with h (chapter 6). Digits that no time has make it unknown, and nothing else: a sender
/// without a clock has them.
ReportFault take_time(std::string_view& text, Report& report) noexcept;
/// Uncompressed or compressed, as the first character says, with the data that follow it, the weather of a weather
/// station, and what the comment tells.
ReportFault take_position(std::string_view& text, Report& report) noexcept;
/// Of the digits of a latitude in the order of size, DDMMhh: those that are blank, which only the last may be. Fills
/// `degrees` with the middle of what they leave open, and `step_deg`. False: it cannot be one.
bool angle_of_digits(std::string_view digits, unsigned ambiguity, double& degrees, double& step_deg) noexcept;
/// How many digits are blank at the end; more than kAmbiguityMost: blanks elsewhere.
[[nodiscard]] unsigned blanks_at_end(std::string_view digits) noexcept;

/// Chapter 10: the latitude and the signs in `destination`, the rest in what follows the data type.
ReportFault take_mic_e(std::string_view& text, std::string_view destination, Report& report) noexcept;

} // namespace turnstone
