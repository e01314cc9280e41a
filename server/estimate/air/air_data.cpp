#include "server/estimate/air/air_data.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "shared/constants.hpp"
#include "shared/geodesy.hpp"

namespace turnstone::estimate {

namespace {

constexpr double kGOverR_k_per_m = kGravityStandard_mps2 / kGasConstantAir_j_per_kg_k;

/// Where the pad's own temperature stops being carried up unchanged, above the pad.
constexpr double kPadLayer_m = 1000.0;
constexpr double kTropopause_m = 11000.0;
constexpr double kTropopauseTemperature_k = 216.65;
constexpr double kProfileStep_m = 30.0; ///< thinner layers are the weather of a minute

/// How far the day is from the assumed profile, in K at a height in km: 3.5 K/km, 12 K at 4 km and above. Inversions
/// put the air at 2-4 km up to 15 K off a profile tied to the ground.
constexpr double kLapse_k = 3.5;
constexpr double kLapseBends_k = 0.125;
constexpr double kLapseGrows_km = 4.0;
/// Moisture: saturated air at 30 C is as light as dry air 5 K warmer, and there is no humidity sensor to tell.
constexpr double kMoistureSigma_k = 2.0;

/// Integral of the lapse's 1-sigma over [0, h], K m.
double lapse_integral_k_m(double height_m) {
    const double all_km = height_m / 1000.0;
    const double km = std::min(all_km, kLapseGrows_km);
    const double top_k = (kLapse_k - kLapseBends_k * km) * km;
    const double grown = (kLapse_k / 2.0 - kLapseBends_k / 3.0 * km) * km * km;
    return 1000.0 * (grown + (all_km - km) * top_k);
}

} // namespace

double hypsometric_height_m(double pressure_pa, double base_pressure_pa, double base_temperature_k,
                            double lapse_k_per_m) noexcept {
    const double log_ratio = std::log(base_pressure_pa / pressure_pa);
    if (lapse_k_per_m == 0.0) return base_temperature_k / kGOverR_k_per_m * log_ratio;
    return base_temperature_k / lapse_k_per_m * std::expm1(lapse_k_per_m / kGOverR_k_per_m * log_ratio);
}

DayAtmosphere::DayAtmosphere(const PadReference& pad)
    : pad_(pad), pad_geopotential_m_(geopotential_from_geometric_m(pad.height_msl_m)),
      surface_gravity_mps2_(normal_gravity_mps2(pad.latitude_deg, 0.0)), layers_{} {
    const bool usable = pad.pressure_pa >= 30000.0 && pad.pressure_pa <= kPressureMax_pa &&
                        pad.temperature_k >= 200.0 && pad.temperature_k <= 340.0 && std::isfinite(pad.height_msl_m) &&
                        pad_geopotential_m_ < kTropopause_m - 2.0 * kPadLayer_m;
    if (!usable) {
        layers_[layer_count_++] = {0.0, kNaN, kNaN, kNaN};
        return;
    }
    if (pad_.profile && !pad_.profile->empty()) {
        add_profile();
    } else {
        const double above_pad_layer_m = pad_geopotential_m_ + kPadLayer_m;
        const double above_pad_layer_k = pad.temperature_k + kLapseTroposphere_k_per_m * kPadLayer_m;
        add_layer(pad_geopotential_m_, pad.temperature_k, kLapseTroposphere_k_per_m);
        add_layer(above_pad_layer_m, above_pad_layer_k,
                  (kTropopauseTemperature_k - above_pad_layer_k) / (kTropopause_m - above_pad_layer_m));
    }
    add_layer(kTropopause_m, kTropopauseTemperature_k, 0.0);
    add_layer(20000.0, kTropopauseTemperature_k, 0.001);
    add_layer(32000.0, 228.65, 0.0028);
    add_layer(47000.0, 270.65, 0.0);
}

void DayAtmosphere::add_layer(double base_m, double temperature_k, double lapse_k_per_m) {
    double pressure_pa = pad_.pressure_pa;
    if (layer_count_ > 0) {
        const Layer& below = layers_[layer_count_ - 1];
        const double rise_m = base_m - below.base_m;
        pressure_pa =
            below.lapse_k_per_m == 0.0
                ? below.base_pressure_pa * std::exp(-kGOverR_k_per_m * rise_m / below.base_temperature_k)
                : below.base_pressure_pa *
                      std::pow((below.base_temperature_k + below.lapse_k_per_m * rise_m) / below.base_temperature_k,
                               -kGOverR_k_per_m / below.lapse_k_per_m);
    }
    layers_[layer_count_++] = {base_m, temperature_k, lapse_k_per_m, pressure_pa};
}

/// From the pad through the profile's points, evenly thinned if there are too many, and on to the tropopause.
void DayAtmosphere::add_profile() {
    const std::vector<TemperatureLayer>& profile = *pad_.profile;
    double base_m = pad_geopotential_m_;
    double base_k = pad_.temperature_k;
    const auto rise_to = [&](double top_m, double top_k) {
        add_layer(base_m, base_k, (top_k - base_k) / (top_m - base_m));
        base_m = top_m;
        base_k = top_k;
    };
    const std::size_t every = profile.size() / kProfileLayers + 1;
    for (std::size_t i = 0; i < profile.size(); ++i) {
        const double top_m = pad_geopotential_m_ + profile[i].height_m;
        const bool last = i + 1 == profile.size();
        if ((i % every == 0 || last) && top_m > base_m + kProfileStep_m && top_m < kTropopause_m - kProfileStep_m)
            rise_to(top_m, profile[i].temperature_k);
    }
    rise_to(kTropopause_m, kTropopauseTemperature_k);
}

const DayAtmosphere::Layer& DayAtmosphere::layer_at(double geopotential_m) const noexcept {
    std::size_t i = layer_count_ - 1;
    while (i > 0 && geopotential_m < layers_[i].base_m) --i;
    return layers_[i];
}

double DayAtmosphere::geopotential_above_pad_m(double pressure_pa) const noexcept {
    if (!(pressure_pa >= kPressureMin_pa && pressure_pa <= kPressureMax_pa)) return kNaN;
    std::size_t i = layer_count_ - 1;
    while (i > 0 && pressure_pa > layers_[i].base_pressure_pa) --i;
    const Layer& layer = layers_[i];
    return layer.base_m - pad_geopotential_m_ +
           hypsometric_height_m(pressure_pa, layer.base_pressure_pa, layer.base_temperature_k, layer.lapse_k_per_m);
}

double DayAtmosphere::temperature_k(double geopotential_above_pad_m) const noexcept {
    const double height_m = pad_geopotential_m_ + geopotential_above_pad_m;
    const Layer& layer = layer_at(height_m);
    return layer.base_temperature_k + layer.lapse_k_per_m * (height_m - layer.base_m);
}

double DayAtmosphere::unknown_m(double height_m) const noexcept {
    const bool known = pad_.profile && !pad_.profile->empty();
    return std::max(0.0, std::fabs(height_m) - (known ? pad_.profile->back().height_m : 0.0));
}

double DayAtmosphere::lapse_sigma_k(double height_m) const noexcept {
    const double km = std::min(unknown_m(height_m) / 1000.0, kLapseGrows_km);
    return (kLapse_k - kLapseBends_k * km) * km;
}

double DayAtmosphere::constant_sigma_k() const noexcept {
    return std::hypot(pad_.profile ? pad_.profile_sigma_k : pad_.temperature_sigma_k, kMoistureSigma_k);
}

double DayAtmosphere::temperature_sigma_k(double geopotential_above_pad_m) const noexcept {
    return std::hypot(pad_.profile ? pad_.profile_sigma_k : pad_.temperature_sigma_k,
                      lapse_sigma_k(geopotential_above_pad_m));
}

double DayAtmosphere::profile_sigma_m(double geopotential_above_pad_m) const noexcept {
    const double height_m = std::fabs(geopotential_above_pad_m);
    const double lapse_k_m = lapse_integral_k_m(unknown_m(height_m));
    const double mean_k = 0.5 * (pad_.temperature_k + temperature_k(geopotential_above_pad_m));
    return std::hypot(lapse_k_m, constant_sigma_k() * height_m) / mean_k;
}

double DayAtmosphere::reference_sigma_m() const noexcept {
    return pad_.pressure_sigma_pa * pad_.temperature_k / (kGOverR_k_per_m * pad_.pressure_pa);
}

double DayAtmosphere::height_sigma_m(double geopotential_above_pad_m) const noexcept {
    const double pad_m =
        pad_.pressure_sigma_pa * temperature_k(geopotential_above_pad_m) / (kGOverR_k_per_m * pad_.pressure_pa);
    return std::hypot(profile_sigma_m(geopotential_above_pad_m), pad_m);
}

double DayAtmosphere::scale_sigma(double geopotential_above_pad_m) const noexcept {
    return std::hypot(temperature_sigma_k(geopotential_above_pad_m), kMoistureSigma_k) /
           temperature_k(geopotential_above_pad_m);
}

double DayAtmosphere::true_height_m(double geopotential_above_pad_m) const noexcept {
    // Mahoney's form of the WMO conversion with one mean radius: Z = R H / (g(lat)/g0 R - H), taken as a difference.
    const double gravity_ratio = surface_gravity_mps2_ / kGravityStandard_mps2;
    const auto geometric = [gravity_ratio](double h) {
        return kEarthRadius_m * h / (gravity_ratio * kEarthRadius_m - h);
    };
    return geometric(pad_geopotential_m_ + geopotential_above_pad_m) - geometric(pad_geopotential_m_);
}

AirHeights DayAtmosphere::heights(double pressure_pa, double pressure_noise_pa) const noexcept {
    AirHeights out{};
    out.pressure_altitude_m = pressure_altitude_m(pressure_pa);
    out.geopotential_above_pad_m = geopotential_above_pad_m(pressure_pa);
    out.above_pad_m = true_height_m(out.geopotential_above_pad_m);
    out.temperature_k = temperature_k(out.geopotential_above_pad_m);
    out.temperature_sigma_k = temperature_sigma_k(out.geopotential_above_pad_m);
    out.above_pad_noise_m = pressure_noise_pa * out.temperature_k / (kGOverR_k_per_m * pressure_pa);
    out.above_pad_slow_m = height_sigma_m(out.geopotential_above_pad_m);
    out.above_pad_sigma_m = std::hypot(out.above_pad_noise_m, out.above_pad_slow_m);
    out.msl_m = pad_.height_msl_m + out.above_pad_m;
    out.density_kg_m3 = air_density_kg_m3(pressure_pa, out.temperature_k);
    out.speed_of_sound_mps = speed_of_sound_mps(out.temperature_k);
    return out;
}

AirSpeeds air_speeds(const AirHeights& air, double speed_mps, double speed_sigma_mps) noexcept {
    const double mach = speed_mps / air.speed_of_sound_mps;
    const double relative_t = air.temperature_sigma_k / air.temperature_k;
    const double q = 0.5 * air.density_kg_m3 * speed_mps * speed_mps;
    return {mach, std::hypot(speed_sigma_mps / air.speed_of_sound_mps, 0.5 * mach * relative_t), q,
            // The second term is for a speed so small that its square may be all error: E[(v^2 - m^2)^2] of a normal v
            // of mean m is 4 m^2 s^2 + 3 s^4.
            std::hypot(air.density_kg_m3 * std::fabs(speed_mps) * speed_sigma_mps,
                       0.5 * std::numbers::sqrt3 * air.density_kg_m3 * speed_sigma_mps * speed_sigma_mps,
                       q * relative_t)};
}

} // namespace turnstone::estimate
