#pragma once
/// The air of one day above the pad, its wind with gusts, and gravity.
///
/// Independent of the estimators: they share only the physical constants of shared/atmosphere.hpp. Otherwise an error
/// in the estimators' air model would cancel in the comparison.
#include <Eigen/Core>

#include "tools/sim/truth/gusts.hpp"
#include "tools/sim/truth/table.hpp"

namespace turnstone::sim {

struct AirPoint {
    double temperature_k;
    double pressure_pa;
    double density_kg_m3;
    double speed_of_sound_mps;
};

/// One layer of constant lapse in geopotential height, hydrostatic (ISO 2533:1975, 2.7), with the pad's own
/// pressure, temperature and lapse. Meant for the lowest 11 km.
class Air {
  public:
    /// `pad_elevation_m` above mean sea level, geometric; lapse in kelvin per geopotential metre, not zero.
    Air(double pad_elevation_m, double pad_pressure_pa, double pad_temperature_k, double lapse_k_per_m);
    /// The standard atmosphere below 11 km at a pad of the given elevation.
    [[nodiscard]] static Air standard(double pad_elevation_m);
    [[nodiscard]] AirPoint at(double height_above_pad_m) const;

  private:
    double pad_elevation_m_;
    double pad_geopotential_m_;
    double pad_pressure_pa_;
    double pad_temperature_k_;
    double lapse_k_per_m_;
    double exponent_;
};

/// Gravity straight down, falling with the square of the distance from the Earth's centre.
struct Gravity {
    double pad_mps2;
    double radius_m; ///< distance from the Earth's centre; infinity makes gravity constant
    [[nodiscard]] double at(double height_above_pad_m) const {
        const double ratio = 1.0 / (1.0 + height_above_pad_m / radius_m);
        return pad_mps2 * ratio * ratio;
    }
};

/// Normal gravity at a pad by the series of the Geodetic Reference System 1980, with the free-air gradient (H. Moritz,
/// Geodetic Reference System 1980, Journal of Geodesy 74, 2000). Error below 1e-4 m/s2 below 5 km.
[[nodiscard]] Gravity gravity_at_pad(double latitude_deg, double height_ellipsoid_m);

/// Mean wind against height above the pad, and gusts on it.
class Wind {
  public:
    /// Components against height above the pad; empty tables mean calm. `gustiness` is the intensity of the gusts,
    /// times what the specification gives for this wind.
    Wind(Table east_mps, Table north_mps, double gustiness, Random random);
    [[nodiscard]] Eigen::Vector3d mean_enu_mps(double height_above_pad_m) const;
    /// Moves the gusts on by the time step.
    void advance(double dt_s, double height_above_pad_m, double airspeed_mps);
    [[nodiscard]] const Eigen::Vector3d& gust_enu_mps() const { return gust_enu_mps_; }
    [[nodiscard]] Eigen::Vector3d at(double height_above_pad_m) const {
        return mean_enu_mps(height_above_pad_m) + gust_enu_mps_;
    }

  private:
    Table east_mps_;
    Table north_mps_;
    double wind20_mps_; ///< 20 ft above ground, times the gustiness
    Gusts gusts_;
    Eigen::Vector3d gust_enu_mps_ = Eigen::Vector3d::Zero();
};

} // namespace turnstone::sim
