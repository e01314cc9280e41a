#pragma once
/// Where to point: from the receiving station to the vehicle.
///
/// Azimuth and elevation are those of the straight line in the station's own east-north-up frame on WGS 84 (through
/// ECEF, so Earth curvature and the difference of the two verticals are in). Refraction is not: below 20 km slant range
/// it is under 0.02 degrees except near the horizon. Magnetic azimuth = true azimuth - declination of the site file
/// (east positive).
#include <Eigen/Core>
#include <Eigen/Geometry>

#include "shared/geodesy.hpp"
#include "shared/site.hpp"

namespace turnstone::estimate {

struct LookAngles {
    double azimuth_true_rad; ///< clockwise from true north, [0, 2 pi); NaN straight overhead or at the station itself
    double azimuth_magnetic_rad; ///< [0, 2 pi)
    double elevation_rad;        ///< [-pi/2, pi/2]
    double slant_range_m;
    double range_rate_mps; ///< positive: going away
    double azimuth_sigma_rad, elevation_sigma_rad, slant_range_sigma_m;
    /// 1-sigma of the angle between the direction given and the vehicle, in half beamwidths of the antenna: below 1 the
    /// vehicle is in the beam most of the time.
    double pointing_error_half_beams;
};

class StationView {
  public:
    /// `site` must outlive the view.
    explicit StationView(const Site& site);
    /// `position_enu_m` and `velocity_enu_mps` at the pad; covariance of the position, ENU. NaN in gives NaN out.
    [[nodiscard]] LookAngles look_angles(const Eigen::Vector3d& position_enu_m, const Eigen::Vector3d& velocity_enu_mps,
                                         const Eigen::Matrix3d& position_covariance_m2) const;

  private:
    const Site* site_;
    Eigen::Matrix3d station_from_pad_; ///< rotation of axes
    Eigen::Vector3d pad_in_station_m_;
};

} // namespace turnstone::estimate
