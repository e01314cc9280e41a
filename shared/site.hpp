#pragma once
/// site.json: the launch site and the receiving station. Schema: protocol/schema/site.schema.json.
#include <optional>
#include <string>
#include <vector>

#include "shared/geodesy.hpp"
#include "shared/json_reader.hpp"

namespace turnstone {

/// Wind at a height above the pad; direction it blows from, clockwise from true north (meteorological convention).
struct WindLayer {
    double height_m;
    double speed_mps;
    double from_deg;
};

/// Air temperature at a height above the pad, from a sounding or a forecast.
struct TemperatureLayer {
    double height_m;
    double temperature_k;
};

/// How far the wind and the temperatures of a flight are from those of the site file, 1-sigma. The schema says where
/// each default comes from.
struct ForecastScatter {
    double wind_speed_relative = 0.2; ///< combined with wind_speed_mps as independent parts
    double wind_speed_mps = 1.5;
    double wind_from_deg = 15.0;
    double temperature_k = 2.0;
};

/// Regular grid of terrain heights, row-major from the south-west corner, rows going north.
struct TerrainGrid {
    double south_deg, west_deg, step_latitude_deg, step_longitude_deg;
    std::size_t rows, columns;
    std::vector<double> height_m; ///< above the WGS 84 ellipsoid
};

struct Site {
    std::string name;
    GeodeticPosition pad;                  ///< origin of ENU
    GeodeticPosition station;              ///< receiving antenna
    double geoid_height_m = 0.0;           ///< geoid above ellipsoid; mean-sea-level height = ellipsoidal - this
    double declination_deg = 0.0;          ///< magnetic north east of true north positive
    double antenna_beamwidth_deg = 360.0;  ///< full -3 dB width
    std::optional<double> pad_pressure_pa; ///< absent: taken from the vehicle's sensor on the pad
    std::optional<double> pad_temperature_k;
    std::optional<double> launch_azimuth_deg;  ///< of the rail's lean, clockwise from true north
    double launch_tilt_deg = 0.0;              ///< of the rail from vertical
    std::vector<GeodeticPosition> boundary;    ///< polygon, closed implicitly, height unused; empty: none given
    std::vector<WindLayer> wind;               ///< ascending height; empty: unknown
    std::vector<TemperatureLayer> temperature; ///< ascending height; empty: unknown
    ForecastScatter forecast;                  ///< of wind and temperature
    std::optional<TerrainGrid> terrain;        ///< absent: flat at the pad's height
};

[[nodiscard]] Site read_site(const nlohmann::json& json, const std::string& file, std::vector<Problem>& problems);

} // namespace turnstone
