#pragma once
/// Writes a vehicle's position as NMEA 0183 sentences (IEC 61162-1), for chart programs and antenna rotators.
#include <cstdint>
#include <string>

namespace turnstone {

struct SaidPosition {
    std::int64_t utc_ns;   ///< since 1970-01-01
    double latitude_deg;   ///< WGS 84, [-90, 90]
    double longitude_deg;  ///< any finite
    double altitude_msl_m; ///< NaN: unknown
    double geoid_height_m; ///< of the geoid above the ellipsoid; NaN: unknown
    double speed_mps;      ///< over ground; NaN: unknown
    double course_deg;     ///< over ground, clockwise from true north, any finite; NaN: unknown
    bool estimated;        ///< by dead reckoning, not by fixes
};

/// GGA and RMC, each with its checksum and CR LF. Times are cut to hundredths of a second, angles rounded to 1e-5
/// minutes (2 cm). What is unknown is an empty field; so are satellites and their dilution.
[[nodiscard]] std::string position_sentences(const SaidPosition& position);

} // namespace turnstone
