#include "shared/atmosphere.hpp"

#include <array>
#include <cmath>

namespace turnstone {

namespace {

constexpr double kHeightMin_m = -5000.0;
constexpr double kHeightMax_m = 84852.0;

struct Layer {
    double base_m; ///< geopotential
    double lapse_k_per_m;
    double base_temperature_k;
    double base_pressure_pa;
};

/// USSA 1976 eq. 33a (lapse) and 33b (isothermal).
double pressure_in(const Layer& layer, double geopotential_m) {
    const double rise_m = geopotential_m - layer.base_m;
    constexpr double g_over_r = kGravityStandard_mps2 / kGasConstantAir_j_per_kg_k;
    if (layer.lapse_k_per_m == 0.0)
        return layer.base_pressure_pa * std::exp(-g_over_r * rise_m / layer.base_temperature_k);
    const double temperature_k = layer.base_temperature_k + layer.lapse_k_per_m * rise_m;
    return layer.base_pressure_pa * std::pow(layer.base_temperature_k / temperature_k, g_over_r / layer.lapse_k_per_m);
}

/// USSA 1976 table 4, with base values carried up from sea level so that pressure is continuous to the last
/// bit.
const std::array<Layer, 7>& layers() {
    static const std::array<Layer, 7> table = [] {
        constexpr std::array<std::array<double, 2>, 7> base_and_lapse{{{0, kLapseTroposphere_k_per_m},
                                                                       {11000, 0.0},
                                                                       {20000, 0.001},
                                                                       {32000, 0.0028},
                                                                       {47000, 0.0},
                                                                       {51000, -0.0028},
                                                                       {71000, -0.002}}};
        std::array<Layer, 7> out{};
        out[0] = {0.0, kLapseTroposphere_k_per_m, kTemperatureSeaLevel_k, kPressureSeaLevel_pa};
        for (std::size_t i = 1; i < out.size(); ++i) {
            const Layer& below = out[i - 1];
            out[i] = {base_and_lapse[i][0], base_and_lapse[i][1],
                      below.base_temperature_k + below.lapse_k_per_m * (base_and_lapse[i][0] - below.base_m),
                      pressure_in(below, base_and_lapse[i][0])};
        }
        return out;
    }();
    return table;
}

} // namespace

AirState standard_atmosphere(double geopotential_m) noexcept {
    if (!(geopotential_m >= kHeightMin_m && geopotential_m <= kHeightMax_m)) return {kNaN, kNaN, kNaN, kNaN};
    std::size_t i = layers().size() - 1;
    while (i > 0 && geopotential_m < layers()[i].base_m) --i;
    const Layer& layer = layers()[i];
    const double temperature_k = layer.base_temperature_k + layer.lapse_k_per_m * (geopotential_m - layer.base_m);
    const double pressure_pa = pressure_in(layer, geopotential_m);
    return {temperature_k, pressure_pa, air_density_kg_m3(pressure_pa, temperature_k),
            speed_of_sound_mps(temperature_k)};
}

double pressure_altitude_m(double pressure_pa) noexcept {
    static const double pressure_max_pa = standard_atmosphere(kHeightMin_m).pressure_pa;
    static const double pressure_min_pa = standard_atmosphere(kHeightMax_m).pressure_pa;
    if (!(pressure_pa >= pressure_min_pa && pressure_pa <= pressure_max_pa)) return kNaN;
    std::size_t i = 0;
    while (i + 1 < layers().size() && pressure_pa <= layers()[i + 1].base_pressure_pa) ++i;
    const Layer& layer = layers()[i];
    constexpr double r_over_g = kGasConstantAir_j_per_kg_k / kGravityStandard_mps2;
    const double log_ratio = std::log(pressure_pa / layer.base_pressure_pa);
    if (layer.lapse_k_per_m == 0.0) return layer.base_m - layer.base_temperature_k * r_over_g * log_ratio;
    // expm1 keeps full precision just above a layer's base, where the ratio is close to one.
    return layer.base_m +
           layer.base_temperature_k / layer.lapse_k_per_m * std::expm1(-layer.lapse_k_per_m * r_over_g * log_ratio);
}

double geopotential_from_geometric_m(double geometric_m) noexcept {
    return kEarthRadius_m * geometric_m / (kEarthRadius_m + geometric_m);
}

double air_density_kg_m3(double pressure_pa, double temperature_k) noexcept {
    return pressure_pa / (kGasConstantAir_j_per_kg_k * temperature_k);
}

double speed_of_sound_mps(double temperature_k) noexcept {
    return std::sqrt(kHeatRatioAir * kGasConstantAir_j_per_kg_k * temperature_k);
}

} // namespace turnstone
