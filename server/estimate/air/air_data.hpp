#pragma once
/// Heights, air state and air-speed quantities from static pressure, on the day's own atmosphere.
///
/// The day's atmosphere is ISO 2533:1975 / U.S. Standard Atmosphere 1976 tied to the pad: it begins at the pad's
/// pressure and temperature. With a temperature profile of the site file (a sounding or a forecast), temperature runs
/// in straight lines through its points. Without one, the first kilometre above the pad has the ISO troposphere's
/// lapse, -6.5 K/km. From there, or from the top of the profile, the temperature runs in a straight line to ISO's
/// 216.65 K at 11 km (the ground's warmth says little about the air far above it), and higher up it is the ISO profile.
/// Heights follow layer by layer from the hypsometric equation for constant lapse (USSA 1976 eqs. 33a, 33b solved for
/// height; WMO-No. 8 part I ch. 12).
///
/// Uncertainty, 1-sigma: the day's temperatures are unknown. The difference between the true and the assumed one is
/// taken as a constant part (pad temperature error, moisture, with a profile its own error) plus a part that grows with
/// height above the pad, or above the profile's top, by the figures in the .cpp. Its integral over height, divided by
/// the mean temperature, is the height error; it fits real soundings (tests/estimate/air/test_air_data.cpp). To that
/// come the pressure noise and the error of the pad pressure, each times R T / (g p).
///
/// Pure functions and one immutable profile: nothing here remembers measurements. NaN or impossible input gives NaN.
#include <array>
#include <cstddef>
#include <memory>
#include <vector>

#include "shared/atmosphere.hpp"
#include "shared/site.hpp"

namespace turnstone::estimate {

/// What the pad is like. Heights are above mean sea level; `latitude_deg` turns geopotential into true height.
struct PadReference {
    double pressure_pa = kPressureSeaLevel_pa;
    double pressure_sigma_pa = 0.0;
    double temperature_k = kTemperatureSeaLevel_k;
    double temperature_sigma_k = 1.0;
    double height_msl_m = 0.0;
    double latitude_deg = 45.0;
    std::shared_ptr<const std::vector<TemperatureLayer>> profile = {}; ///< above the pad, ascending; null: unknown
    double profile_sigma_k = 2.0;
};

/// What follows from a pressure. NaN where the pressure is out of range.
struct AirHeights {
    double pressure_altitude_m; ///< geopotential, ISO scale from 1013.25 hPa
    double geopotential_above_pad_m;
    double above_pad_m;       ///< true (geometric) height above the pad
    double above_pad_sigma_m; ///< everything: noise, pad pressure, the day's lapse
    double above_pad_noise_m; ///< the part that is independent from sample to sample
    double above_pad_slow_m;  ///< the rest, alike in neighbouring samples
    double msl_m;
    double temperature_k; ///< outside air, of the profile, not of the sensor
    double temperature_sigma_k;
    double density_kg_m3;
    double speed_of_sound_mps;
};

/// Needs a speed as well.
struct AirSpeeds {
    double mach;
    double mach_sigma;
    double dynamic_pressure_pa; ///< rho v^2 / 2
    double dynamic_pressure_sigma_pa;
};

/// Pressures the day's atmosphere can turn into a height.
inline constexpr double kPressureMin_pa = 40.0;
inline constexpr double kPressureMax_pa = 125000.0;

class DayAtmosphere {
  public:
    /// Pad pressure [30 kPa, 125 kPa], pad temperature [200 K, 340 K]; values outside make every result NaN.
    explicit DayAtmosphere(const PadReference& pad);

    /// Geopotential metres above the pad; negative below it. NaN outside [kPressureMin_pa, kPressureMax_pa].
    [[nodiscard]] double geopotential_above_pad_m(double pressure_pa) const noexcept;
    [[nodiscard]] double temperature_k(double geopotential_above_pad_m) const noexcept;
    /// Of the profile itself: pad pressure error and unknown lapse, without sensor noise.
    [[nodiscard]] double height_sigma_m(double geopotential_above_pad_m) const noexcept;
    /// Of the unknown lapse alone: the same sign at all heights near one another.
    [[nodiscard]] double profile_sigma_m(double geopotential_above_pad_m) const noexcept;
    /// Of the pad pressure alone: the same at all heights.
    [[nodiscard]] double reference_sigma_m() const noexcept;
    [[nodiscard]] double temperature_sigma_k(double geopotential_above_pad_m) const noexcept;
    /// Relative 1-sigma of a height difference at this height, and so of a speed from pressure.
    [[nodiscard]] double scale_sigma(double geopotential_above_pad_m) const noexcept;
    /// Local normal gravity turns geopotential into true height (WMO-No. 8; WGS 84 normal gravity at the surface).
    [[nodiscard]] double true_height_m(double geopotential_above_pad_m) const noexcept;

    [[nodiscard]] AirHeights heights(double pressure_pa, double pressure_noise_pa) const noexcept;
    [[nodiscard]] const PadReference& pad() const noexcept { return pad_; }

  private:
    struct Layer {
        double base_m; ///< geopotential above sea level
        double base_temperature_k;
        double lapse_k_per_m;
        double base_pressure_pa;
    };
    [[nodiscard]] const Layer& layer_at(double geopotential_m) const noexcept;

    PadReference pad_;
    double pad_geopotential_m_;
    double surface_gravity_mps2_;
    static constexpr std::size_t kProfileLayers = 40;
    void add_layer(double base_m, double temperature_k, double lapse_k_per_m);
    void add_profile();
    /// Of a height, what lies above all of which temperatures are told.
    [[nodiscard]] double unknown_m(double height_m) const noexcept;
    [[nodiscard]] double lapse_sigma_k(double height_m) const noexcept;
    [[nodiscard]] double constant_sigma_k() const noexcept;

    std::array<Layer, kProfileLayers + 6> layers_;
    std::size_t layer_count_ = 0;
};

/// Mach and dynamic pressure at a speed relative to the air, m/s.
[[nodiscard]] AirSpeeds air_speeds(const AirHeights& air, double speed_mps, double speed_sigma_mps) noexcept;

/// Height above the pad in one layer of constant lapse, geopotential metres: T0/L ((p/p0)^(-R L/g0) - 1), or the
/// isothermal form for a lapse of zero. Lapse positive when warmer above.
[[nodiscard]] double hypsometric_height_m(double pressure_pa, double base_pressure_pa, double base_temperature_k,
                                          double lapse_k_per_m) noexcept;

} // namespace turnstone::estimate
