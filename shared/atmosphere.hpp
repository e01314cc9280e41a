#pragma once
/// Standard atmosphere to 84.852 km geopotential: ISO 2533:1975 / U.S. Standard Atmosphere 1976 (NOAA-S/T 76-1562),
/// eqs. 18, 19, 23, 33a, 33b, 42, 50. Heights are geopotential metres unless a name says geometric.
#include "shared/constants.hpp"

namespace turnstone {

inline constexpr double kPressureSeaLevel_pa = 101325.0;
inline constexpr double kTemperatureSeaLevel_k = 288.15;
/// USSA 1976 table 2, R* / M0 = 287.05307; ISO 2533 prints 287.05287, which moves no height below 32 km by 25 mm.
inline constexpr double kGasConstantAir_j_per_kg_k = 8314.32 / 28.9644;
inline constexpr double kHeatRatioAir = 1.4;
inline constexpr double kEarthRadius_m = 6356766.0; ///< USSA 1976 eq. 18, the radius of the geopotential conversion
inline constexpr double kLapseTroposphere_k_per_m = -0.0065;

struct AirState {
    double temperature_k;
    double pressure_pa;
    double density_kg_m3;
    double speed_of_sound_mps;
};

/// Valid for [-5000, 84852] geopotential metres; NaN outside.
[[nodiscard]] AirState standard_atmosphere(double geopotential_m) noexcept;

/// Inverse of the pressure profile; NaN for pressures outside the table's range or not positive.
[[nodiscard]] double pressure_altitude_m(double pressure_pa) noexcept;

[[nodiscard]] double geopotential_from_geometric_m(double geometric_m) noexcept;

/// Dry-air density and speed of sound (ideal gas; USSA 1976 eqs. 42, 50).
[[nodiscard]] double air_density_kg_m3(double pressure_pa, double temperature_k) noexcept;
[[nodiscard]] double speed_of_sound_mps(double temperature_k) noexcept;

} // namespace turnstone
