#include "shared/site.hpp"

#include <cmath>

#include <nlohmann/json.hpp>

namespace turnstone {

namespace {

constexpr std::size_t kBoundaryPointsMax = 1000;
constexpr std::size_t kLayersMax = 200;
constexpr std::size_t kTerrainPointsMax = 1'000'000;
/// The local frame's accuracy is stated to 1000 km; a station further off is a typing mistake.
constexpr double kStationDistanceMax_m = 1.0e6;

GeodeticPosition read_position(JsonReader& in, bool with_height) {
    GeodeticPosition out{};
    out.latitude_deg = in.number("latitude_deg", -90, 90);
    out.longitude_deg = in.number("longitude_deg", -180, 180);
    out.height_m = with_height ? in.number("height_m", -1000, 10000) : in.number_or("height_m", -1000, 10000, 0.0);
    in.finish();
    return out;
}

std::vector<WindLayer> read_wind(JsonReader& in) {
    std::vector<WindLayer> out;
    for (JsonReader& element : in.array_if("wind", kLayersMax)) {
        WindLayer layer{};
        layer.height_m = element.number("height_m", 0, 50000);
        layer.speed_mps = element.number("speed_mps", 0, 150);
        layer.from_deg = element.number("from_deg", 0, 360);
        element.finish();
        if (!out.empty() && layer.height_m <= out.back().height_m)
            element.problem_at("height_m", "is not above the layer before it", "must ascend from layer to layer");
        out.push_back(layer);
    }
    return out;
}

std::vector<TemperatureLayer> read_temperature(JsonReader& in) {
    std::vector<TemperatureLayer> out;
    for (JsonReader& element : in.array_if("temperature", kLayersMax)) {
        TemperatureLayer layer{};
        layer.height_m = element.number("height_m", 0, 50000);
        layer.temperature_k = element.number("temperature_k", 150, 340);
        element.finish();
        if (!out.empty() && layer.height_m <= out.back().height_m)
            element.problem_at("height_m", "is not above the layer before it", "must ascend from layer to layer");
        out.push_back(layer);
    }
    return out;
}

ForecastScatter read_forecast(JsonReader& in) {
    ForecastScatter out;
    out.wind_speed_relative = in.number_or("wind_speed_relative", 0, 2, out.wind_speed_relative);
    out.wind_speed_mps = in.number_or("wind_speed_mps", 0, 50, out.wind_speed_mps);
    out.wind_from_deg = in.number_or("wind_from_deg", 0, 180, out.wind_from_deg);
    out.temperature_k = in.number_or("temperature_k", 0, 50, out.temperature_k);
    in.finish();
    return out;
}

TerrainGrid read_terrain(JsonReader& in) {
    TerrainGrid out{};
    out.south_deg = in.number("south_deg", -90, 90);
    out.west_deg = in.number("west_deg", -180, 180);
    out.step_latitude_deg = in.number("step_latitude_deg", 1e-6, 1);
    out.step_longitude_deg = in.number("step_longitude_deg", 1e-6, 1);
    out.rows = static_cast<std::size_t>(in.integer("rows", 2, 10000));
    out.columns = static_cast<std::size_t>(in.integer("columns", 2, 10000));
    for (JsonReader& element : in.array("height_m", 4, kTerrainPointsMax))
        out.height_m.push_back(element.as_number(-1000, 10000));
    if (out.height_m.size() != out.rows * out.columns) {
        in.problem_at("height_m", "has " + std::to_string(out.height_m.size()) + " heights",
                      "must have rows times columns = " + std::to_string(out.rows * out.columns));
    }
    in.finish();
    return out;
}

} // namespace

Site read_site(const nlohmann::json& json, const std::string& file, std::vector<Problem>& problems) {
    const std::size_t problems_before = problems.size();
    JsonReader in(json, file, problems);
    Site out;
    in.ignore("$schema");
    out.name = in.text("name");
    if (auto pad = in.object("pad")) out.pad = read_position(*pad, true);
    if (auto station = in.object("station")) out.station = read_position(*station, true);
    out.geoid_height_m = in.number_or("geoid_height_m", -150, 150, out.geoid_height_m);
    out.declination_deg = in.number_or("declination_deg", -180, 180, out.declination_deg);
    out.antenna_beamwidth_deg = in.number_or("antenna_beamwidth_deg", 0.1, 360, out.antenna_beamwidth_deg);
    out.pad_pressure_pa = in.number_if("pad_pressure_pa", 30000, 115000);
    out.pad_temperature_k = in.number_if("pad_temperature_k", 200, 340);
    out.launch_azimuth_deg = in.number_if("launch_azimuth_deg", 0, 360);
    out.launch_tilt_deg = in.number_or("launch_tilt_deg", 0, 45, out.launch_tilt_deg);
    for (JsonReader& point : in.array_if("boundary", kBoundaryPointsMax))
        out.boundary.push_back(read_position(point, false));
    if (!out.boundary.empty() && out.boundary.size() < 3) {
        in.problem_at("boundary", "has " + std::to_string(out.boundary.size()) + " points",
                      "must have at least 3, or leave boundary out");
    }
    out.wind = read_wind(in);
    out.temperature = read_temperature(in);
    if (auto forecast = in.object_if("forecast")) out.forecast = read_forecast(*forecast);
    if (auto terrain = in.object_if("terrain")) out.terrain = read_terrain(*terrain);
    in.finish();
    if (problems.size() == problems_before && geodesic(out.pad, out.station).distance_m > kStationDistanceMax_m)
        in.problem_at("station", "is more than 1000 km from the pad", "must be near the pad; check signs");
    return out;
}

} // namespace turnstone
