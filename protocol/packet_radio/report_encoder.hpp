#pragma once
/// Writes position, telemetry and weather reports, for tests and simulators: the APRS Protocol Reference 1.0.1,
/// chapters 6 to 10, 12 and 13. encode_ax25_ui() and encode_escaped_frame() put them on a link.
#include <array>
#include <optional>
#include <string>
#include <vector>

#include "protocol/packet_radio/report.hpp"

namespace turnstone {

struct ReportToSend {
    PositionFormat format = PositionFormat::uncompressed; ///< but no sentence
    double latitude_deg = 0, longitude_deg = 0;           ///< longitude below 180
    /// NaN: not told. Compressed reports have a comment for the height, so that they can have a speed too.
    double height_msl_m = kNaN;
    double course_deg = kNaN, speed_mps = kNaN; ///< both or neither
    std::optional<unsigned> second_of_day = {}; ///< UTC; Mic-E has no time
    unsigned ambiguity = 0;                     ///< digits left out; not of compressed ones
    std::array<char, 2> symbol{'/', 'O'};       ///< table, code
    std::string comment = {};
};

struct SentReport {
    std::string destination; ///< of the frame: of Mic-E half of the report
    std::string information;
};
/// `destination`: for formats that leave it free.
[[nodiscard]] SentReport encode_report(const ReportToSend& report, const std::string& destination);

/// "T#005,199,000,255,073,123,01101001".
[[nodiscard]] std::string encode_telemetry(unsigned sequence, const std::array<unsigned, kAnalogCount>& analog,
                                           unsigned bits);

/// A weather station's report: at its place, which is uncompressed or compressed and has the wind where others have
/// course and speed. What is not told is left out; wind, gust and temperature have points in its place.
[[nodiscard]] SentReport encode_weather(ReportToSend place, const ReportWeather& weather,
                                        const std::string& destination);
/// Without a place. `time`: month, day, hour and minute, eight digits.
[[nodiscard]] std::string encode_weather(const std::string& time, const ReportWeather& weather);

} // namespace turnstone
