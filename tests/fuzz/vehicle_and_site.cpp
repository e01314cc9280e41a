/// A vehicle and a site file: whatever they say, they are refused with sentences, or give figures that estimators can
/// start from. One text is read as both.
#include <cmath>
#include <cstdint>
#include <cstdlib>

#include <nlohmann/json.hpp>

#include "shared/json_reader.hpp"
#include "shared/site.hpp"
#include "shared/vehicle.hpp"

namespace {

using namespace turnstone;

void demand(bool holds) {
    if (!holds) std::abort();
}

void check_curve(const Curve& curve) {
    demand(!curve.x.empty() && curve.x.size() == curve.y.size());
    for (std::size_t i = 1; i < curve.x.size(); ++i) demand(curve.x[i - 1] < curve.x[i]);
    for (const double x : {-1e300, curve.x.front(), curve.x.back(), 1e300}) demand(std::isfinite(curve.at(x)));
}

void check_vehicle(const nlohmann::json& json) {
    std::vector<Problem> problems;
    const Vehicle vehicle = read_vehicle(json, "vehicle.json", problems);
    if (!problems.empty()) {
        demand(!to_string(problems).empty());
        return;
    }
    demand(!vehicle.name.empty() && vehicle.sensors.pressure_noise_pa > 0 && vehicle.sensors.accel_range_mps2 > 0);
    if (!vehicle.rocket) return;
    const RocketModel& rocket = *vehicle.rocket;
    check_curve(rocket.thrust_n);
    check_curve(rocket.drag_coefficient);
    demand(rocket.burn_time_s() > 0 && rocket.total_impulse_n_s() > 0);
    for (const double t_s : {-1.0, 0.0, 0.5 * rocket.burn_time_s(), 1e6})
        demand(rocket.mass_kg(t_s) >= rocket.mass_dry_kg * (1 - 1e-9) &&
               rocket.mass_kg(t_s) <= (rocket.mass_dry_kg + rocket.mass_propellant_kg) * (1 + 1e-9));
    for (const Parachute& parachute : rocket.parachutes) demand(parachute.drag_area_m2 > 0);
}

void check_site(const nlohmann::json& json) {
    std::vector<Problem> problems;
    const Site site = read_site(json, "site.json", problems);
    if (!problems.empty()) {
        demand(!to_string(problems).empty());
        return;
    }
    demand(std::abs(site.pad.latitude_deg) <= 90 && std::abs(site.pad.longitude_deg) <= 180);
    for (std::size_t i = 1; i < site.wind.size(); ++i) demand(site.wind[i - 1].height_m < site.wind[i].height_m);
    if (site.terrain) demand(site.terrain->rows * site.terrain->columns == site.terrain->height_m.size());
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    std::vector<Problem> problems;
    const auto json = parse_json_text({reinterpret_cast<const char*>(data), size}, "vehicle.json", problems);
    if (!json) return 0;
    check_vehicle(*json);
    check_site(*json);
    return 0;
}
