#include "tools/sim/truth/air.hpp"

#include <cmath>
#include <numbers>
#include <utility>

#include "shared/atmosphere.hpp"

namespace turnstone::sim {

namespace {

constexpr double kTwentyFeet_m = 6.096;

double geopotential_m(double geometric_m) {
    return kEarthRadius_m * geometric_m / (kEarthRadius_m + geometric_m);
}

} // namespace

Air::Air(double pad_elevation_m, double pad_pressure_pa, double pad_temperature_k, double lapse_k_per_m)
    : pad_elevation_m_(pad_elevation_m), pad_geopotential_m_(geopotential_m(pad_elevation_m)),
      pad_pressure_pa_(pad_pressure_pa), pad_temperature_k_(pad_temperature_k), lapse_k_per_m_(lapse_k_per_m),
      exponent_(-kGravityStandard_mps2 / (kGasConstantAir_j_per_kg_k * lapse_k_per_m)) {}

Air Air::standard(double pad_elevation_m) {
    const double temperature_k = kTemperatureSeaLevel_k + kLapseTroposphere_k_per_m * geopotential_m(pad_elevation_m);
    const double exponent = -kGravityStandard_mps2 / (kGasConstantAir_j_per_kg_k * kLapseTroposphere_k_per_m);
    const double pressure_pa = kPressureSeaLevel_pa * std::pow(temperature_k / kTemperatureSeaLevel_k, exponent);
    return {pad_elevation_m, pressure_pa, temperature_k, kLapseTroposphere_k_per_m};
}

AirPoint Air::at(double height_above_pad_m) const {
    const double rise_m = geopotential_m(pad_elevation_m_ + height_above_pad_m) - pad_geopotential_m_;
    AirPoint point;
    point.temperature_k = pad_temperature_k_ + lapse_k_per_m_ * rise_m;
    point.pressure_pa = pad_pressure_pa_ * std::pow(point.temperature_k / pad_temperature_k_, exponent_);
    point.density_kg_m3 = point.pressure_pa / (kGasConstantAir_j_per_kg_k * point.temperature_k);
    point.speed_of_sound_mps = std::sqrt(kHeatRatioAir * kGasConstantAir_j_per_kg_k * point.temperature_k);
    return point;
}

Gravity gravity_at_pad(double latitude_deg, double height_ellipsoid_m) {
    const double latitude_rad = latitude_deg * std::numbers::pi / 180.0;
    const double sine2 = std::pow(std::sin(latitude_rad), 2);
    const double sine2_double = std::pow(std::sin(2.0 * latitude_rad), 2);
    const double surface_mps2 = 9.780327 * (1.0 + 0.0053024 * sine2 - 0.0000058 * sine2_double);
    return {surface_mps2 - 3.0877e-6 * height_ellipsoid_m, 6371000.0 + height_ellipsoid_m};
}

Wind::Wind(Table east_mps, Table north_mps, double gustiness, Random random)
    : east_mps_(std::move(east_mps)), north_mps_(std::move(north_mps)),
      wind20_mps_(gustiness * mean_enu_mps(kTwentyFeet_m).norm()), gusts_(random) {}

Eigen::Vector3d Wind::mean_enu_mps(double height_above_pad_m) const {
    if (east_mps_.x.empty()) return Eigen::Vector3d::Zero();
    return {east_mps_.at(height_above_pad_m), north_mps_.at(height_above_pad_m), 0.0};
}

void Wind::advance(double dt_s, double height_above_pad_m, double airspeed_mps) {
    if (wind20_mps_ <= 0.0) return;
    gusts_.advance(dt_s, airspeed_mps, dryden_scale(height_above_pad_m, wind20_mps_));
    const Eigen::Vector3d along = mean_enu_mps(height_above_pad_m).stableNormalized();
    const Eigen::Vector3d& gust = gusts_.along_across_up_mps();
    gust_enu_mps_ = gust.x() * along + gust.y() * Eigen::Vector3d(-along.y(), along.x(), 0.0);
    gust_enu_mps_.z() = gust.z();
}

} // namespace turnstone::sim
