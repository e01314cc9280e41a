#include "tools/sim/tracker.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>

#include "protocol/framing/escaped_deframer.hpp"
#include "protocol/packet/ax25.hpp"
#include "protocol/packet_radio/report_encoder.hpp"

namespace turnstone::sim {

namespace {

constexpr double kLineByte_s = 10.0 / 9600;
constexpr double kAirByte_s = 8.0 / 1200, kKeyUp_s = 0.25; // common practice, no source
constexpr double kTelemetryPeriod_s = 30, kWeatherPeriod_s = 20, kOtherPeriod_s = 12;
constexpr double kDigipeats = 0.4;
constexpr const char* kDestination = "APZRKT";

/// Frames on one channel and then on a serial line, one after another.
class Channel {
  public:
    /// Returns when its last byte has left the modem.
    double say(double t_s, const std::string& source, const SentReport& report, const std::vector<std::string>& path) {
        const auto frame = encode_ax25_ui(report.destination, source, path, report.information);
        const auto line = encode_escaped_frame({.stuffing = Stuffing::kiss}, frame);
        const double heard_s = std::max(t_s, air_free_s_) + kKeyUp_s + kAirByte_s * static_cast<double>(frame.size());
        air_free_s_ = heard_s;
        const double begin_s = std::max(heard_s, line_free_s_);
        line_free_s_ = begin_s + kLineByte_s * static_cast<double>(line.size());
        stream.deliveries.push_back({begin_s, line_free_s_, 0, stream.bytes.size(), line.size()});
        for (const std::byte byte : line) stream.bytes.push_back(std::to_integer<std::uint8_t>(byte));
        return line_free_s_;
    }
    DeliveredStream stream;

  private:
    double air_free_s_ = 0, line_free_s_ = 0;
};

/// The air at the pad.
ReportWeather weather_of(const TruthSample& at_pad) {
    constexpr double kZero_k = 273.15;
    const Eigen::Vector3d& wind = at_pad.wind_enu_mps;
    ReportWeather out;
    out.wind_from_deg = std::fmod(std::atan2(-wind.x(), -wind.y()) * 180 / std::numbers::pi + 360, 360);
    out.wind_mps = wind.head<2>().norm();
    out.temperature_degc = at_pad.temperature_k - kZero_k;
    out.pressure_pa = at_pad.pressure_pa;
    return out;
}

} // namespace

TrackerStream tracker_stream(const SensedFlight& flight, PositionFormat format, double utc_s, std::uint64_t seed) {
    TrackerStream out;
    Channel channel;
    Random random(seed, "tracker");
    const std::vector<FixReading>& fixes = flight.sensors.fix;
    const double end_s = flight.truth.samples.back().t_s;
    unsigned sequence = 0;
    std::size_t next = 0;
    for (double t_s = kTrackerPeriod_s; t_s < end_s; t_s += kTrackerPeriod_s) {
        while (next < fixes.size() && fixes[next].t_s <= t_s) ++next;
        if (next > 0 && fixes[next - 1].fix_dimensions >= 3) {
            const FixReading& fix = fixes[next - 1];
            ReportToSend report;
            report.format = format;
            report.latitude_deg = fix.latitude_deg;
            report.longitude_deg = fix.longitude_deg;
            report.height_msl_m = fix.height_msl_m;
            report.speed_mps = fix.velocity_enu_mps.head<2>().norm();
            report.course_deg = std::fmod(
                std::atan2(fix.velocity_enu_mps.x(), fix.velocity_enu_mps.y()) * 180 / std::numbers::pi + 360, 360);
            if (format != PositionFormat::mic_e)
                report.second_of_day = static_cast<unsigned>(std::fmod(std::floor(utc_s + fix.t_valid_s), 86'400));
            const SentReport sent = encode_report(report, kDestination);
            const double heard_s = channel.say(t_s, kTrackerStation, sent, {"WIDE1-1", "WIDE2-1"});
            ++out.positions;
            if (random.uniform(0, 1) < kDigipeats) {
                channel.say(heard_s, kTrackerStation, sent, {"N0HILL*", "WIDE2-1"});
                ++out.copies;
            }
        }
        if (std::fmod(t_s, kTelemetryPeriod_s) < kTrackerPeriod_s) {
            const auto battery = static_cast<unsigned>(164 - t_s / 60);
            channel.say(t_s, kTrackerStation, {kDestination, encode_telemetry(sequence++, {battery, 0, 0, 0, 0}, 0x80)},
                        {});
            ++out.telemetry;
        }
        if (std::fmod(t_s, kWeatherPeriod_s) < kTrackerPeriod_s && !fixes.empty()) {
            const ReportToSend place{.latitude_deg = fixes.front().latitude_deg,
                                     .longitude_deg = fixes.front().longitude_deg};
            channel.say(t_s, "N0WX-3", encode_weather(place, weather_of(flight.truth.samples.front()), kDestination),
                        {});
            ++out.weather;
        }
        if (std::fmod(t_s, kOtherPeriod_s) < kTrackerPeriod_s) {
            channel.say(t_s, "N0CAR-9", {kDestination, ">on the way to the range"}, {"N0HILL*"});
            ++out.others;
        }
    }
    out.stream = std::move(channel.stream);
    return out;
}

} // namespace turnstone::sim
