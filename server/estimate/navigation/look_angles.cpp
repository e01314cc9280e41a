#include "server/estimate/navigation/look_angles.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "server/estimate/math/angles.hpp"
#include "shared/constants.hpp"

namespace turnstone::estimate {

using Eigen::Matrix3d;
using Eigen::Vector3d;

namespace {

double wrap(double angle_rad) {
    const double turn = 2 * std::numbers::pi;
    const double wrapped = std::fmod(angle_rad, turn);
    return wrapped < 0 ? wrapped + turn : wrapped;
}

} // namespace

StationView::StationView(const Site& site) : site_(&site) {
    // The columns are the unit vectors of one frame in the other. They are taken from points, so that only the frame
    // class knows the ellipsoid.
    const LocalFrame pad(site.pad);
    const LocalFrame station(site.station);
    const auto through = [&](const Vector3d& enu_m) { return station.to_enu_m(pad.to_geodetic(enu_m)); };
    pad_in_station_m_ = through(Vector3d::Zero());
    constexpr double kArm_m = 1000;
    for (int axis = 0; axis < 3; ++axis)
        station_from_pad_.col(axis) = (through(Vector3d::Unit(axis) * kArm_m) - pad_in_station_m_) / kArm_m;
}

LookAngles StationView::look_angles(const Vector3d& position_enu_m, const Vector3d& velocity_enu_mps,
                                    const Matrix3d& position_covariance_m2) const {
    LookAngles out{};
    const Vector3d line = pad_in_station_m_ + station_from_pad_ * position_enu_m;
    const Vector3d velocity = station_from_pad_ * velocity_enu_mps;
    const Matrix3d covariance = station_from_pad_ * position_covariance_m2 * station_from_pad_.transpose();
    const double range = line.norm();
    const double ground = std::hypot(line.x(), line.y());
    constexpr double kNone = kNaN;
    out.slant_range_m = range;
    if (!(range > 0)) {
        out.azimuth_true_rad = out.azimuth_magnetic_rad = out.elevation_rad = out.range_rate_mps = kNone;
        out.azimuth_sigma_rad = out.elevation_sigma_rad = out.slant_range_sigma_m = out.pointing_error_half_beams =
            kNone;
        return out;
    }
    const Vector3d toward = line / range;
    out.elevation_rad = std::atan2(line.z(), ground);
    out.range_rate_mps = toward.dot(velocity);
    out.slant_range_sigma_m = std::sqrt(std::max(0.0, toward.dot(covariance * toward)));
    // Across the line of sight: right (increasing azimuth) and up (increasing elevation).
    const bool overhead = ground < 1e-6 * range;
    const Vector3d right = overhead ? Vector3d::UnitX() : Vector3d(line.y() / ground, -line.x() / ground, 0);
    const Vector3d upward = right.cross(toward);
    const double right_variance = std::max(0.0, right.dot(covariance * right));
    const double up_variance = std::max(0.0, upward.dot(covariance * upward));
    out.elevation_sigma_rad = std::sqrt(up_variance) / range;
    if (overhead) {
        out.azimuth_true_rad = out.azimuth_magnetic_rad = out.azimuth_sigma_rad = kNone;
    } else {
        out.azimuth_true_rad = wrap(std::atan2(line.x(), line.y()));
        out.azimuth_magnetic_rad = wrap(out.azimuth_true_rad - radians(site_->declination_deg));
        out.azimuth_sigma_rad = std::min(std::numbers::pi, std::sqrt(right_variance) / ground);
    }
    const double half_beam_rad = 0.5 * radians(site_->antenna_beamwidth_deg);
    out.pointing_error_half_beams = std::sqrt(right_variance + up_variance) / range / half_beam_rad;
    return out;
}

} // namespace turnstone::estimate
