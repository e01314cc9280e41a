#pragma once
/// What the information field of a packet radio report says: the APRS Protocol Reference, version 1.0.1 (protocol/
/// PACKET_RADIO.md says what is read and what is not). No allocation.
#include <array>
#include <cstddef>
#include <cstdint>
#include <string_view>

#include "shared/constants.hpp"
#include "shared/words.hpp"

namespace turnstone {

/// By the data type identifier, chapter 5.
enum class ReportKind : unsigned char {
    position,
    object,
    item,
    telemetry,
    telemetry_names, ///< a message that gives the telemetry's names, units, coefficients or bit senses
    status,
    message,
    weather, ///< without a position
    query,
    capabilities,
    user_defined,
    locator, ///< a Maidenhead locator and a text
    test,
    other ///< nothing of the above, or what cannot be told
};
consteval auto words_of(ReportKind) {
    return words<ReportKind::other>("position", "object", "item", "telemetry", "telemetry_names", "status", "message",
                                    "weather", "query", "capabilities", "user_defined", "locator", "test", "other");
}

/// Why a report is refused: the part of it that cannot be.
enum class ReportFault : unsigned char {
    none,
    empty,
    type,      ///< a data type that the reference does not have
    cut_short, ///< it ends before what it has to have
    latitude,
    longitude,
    time,
    name,        ///< of an object, an item or an addressee
    telemetry,   ///< a number
    destination, ///< of Mic-E, which has the latitude there
    motion,      ///< course and speed of Mic-E
    header,      ///< of a frame in a third party's
    sentence     ///< NMEA 0183
};
consteval auto words_of(ReportFault) {
    return words<ReportFault::sentence>("none", "empty", "type", "cut_short", "latitude", "longitude", "time", "name",
                                        "telemetry", "destination", "motion", "header", "sentence");
}

enum class PositionFormat : unsigned char { none, uncompressed, compressed, mic_e, sentence };
consteval auto words_of(PositionFormat) {
    return words<PositionFormat::sentence>("none", "uncompressed", "compressed", "Mic-E", "sentence");
}

/// NaN: not told.
struct ReportPosition {
    PositionFormat format = PositionFormat::none;
    double latitude_deg = kNaN, longitude_deg = kNaN;
    double step_deg = kNaN; ///< of the last digit, of the latitude
    unsigned ambiguity = 0; ///< digits left out, 0 to 4; the position is then the middle of what they leave open
    bool is_current = true; ///< false: the sender says that it is an old one, or none
    double height_msl_m = kNaN;
    double speed_mps = kNaN, course_deg = kNaN; ///< course NaN: unknown
    double speed_step_mps = kNaN, course_step_deg = kNaN;
    std::array<char, 2> symbol{}; ///< table or overlay, code
};

constexpr std::size_t kAnalogCount = 5, kBitCount = 8;

struct ReportTelemetry {
    double sequence = kNaN; ///< NaN: not a number
    std::array<double, kAnalogCount> analog{kNaN, kNaN, kNaN, kNaN, kNaN};
    std::array<double, kBitCount> bits{kNaN, kNaN, kNaN, kNaN, kNaN, kNaN, kNaN, kNaN}; ///< the first sent first
};

struct ReportWeather {
    double wind_from_deg = kNaN, wind_mps = kNaN, gust_mps = kNaN; ///< a minute's mean; the most in five minutes
    double temperature_degc = kNaN, humidity_percent = kNaN, pressure_pa = kNaN;
    double rain_1h_mm = kNaN, rain_24h_mm = kNaN, rain_midnight_mm = kNaN, snow_mm = kNaN; ///< snow: in a day
    double luminosity_wpm2 = kNaN;
    bool is_said = false; ///< any of it
};

/// Views are of the information field.
struct Report {
    ReportKind kind = ReportKind::other;
    ReportFault fault = ReportFault::none;
    ReportPosition position;
    std::string_view time;           ///< as sent, with the letter that says its kind, if there is one
    double utc_time_of_day_s = kNaN; ///< of times with seconds
    std::string_view name;           ///< of an object, an item or an addressee, without the blanks behind it
    bool is_alive = true;            ///< false: of an object or item that is no longer there
    ReportTelemetry telemetry;       ///< its own, or in the comment of a position
    ReportWeather weather;
    std::string_view text; ///< comment, status, message, or what a telemetry_names says
};

/// `destination`: the callsign of the frame's destination, without SSID. A third party's header is taken off before.
[[nodiscard]] Report read_report(std::string_view information, std::string_view destination) noexcept;

/// Coefficients of "EQNS.": value = a * raw^2 + b * raw + c.
using TelemetryEquation = std::array<double, 3>;
/// Of the text behind "EQNS."; what is missing leaves `equations` as they are. False: a number that is none.
bool read_equations(std::string_view text, std::array<TelemetryEquation, kAnalogCount>& equations) noexcept;

} // namespace turnstone
