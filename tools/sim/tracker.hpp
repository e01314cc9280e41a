#pragma once
/// The flight of a rocket as a packet radio tracker on board tells it (protocol/PACKET_RADIO.md): position reports and
/// telemetry over a channel of 1200 bit/s, a digipeater on a hill that says some of them again, a weather station at
/// the pad, and somebody else on the frequency. What a modem hands on over KISS. The same for a seed; callsigns and
/// figures are invented.
#include <cstdint>

#include "protocol/packet_radio/report.hpp"
#include "tools/sim/fly.hpp"

namespace turnstone::sim {

inline constexpr const char* kTrackerStation = "N0CALL-11";
inline constexpr double kTrackerPeriod_s = 2;

struct TrackerStream {
    DeliveredStream stream; ///< one delivery a frame: what sender.hpp plays
    std::uint32_t positions = 0, telemetry = 0, copies = 0, weather = 0, others = 0;
};

/// `format`: of position reports, but no sentence. `utc_s`: since 1970-01-01, of the run's start.
[[nodiscard]] TrackerStream tracker_stream(const SensedFlight& flight, PositionFormat format, double utc_s,
                                           std::uint64_t seed);

} // namespace turnstone::sim
