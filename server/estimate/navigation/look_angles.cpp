#include "server/estimate/navigation/look_angles.hpp"

#include <Eigen/Eigenvalues>

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

/// In the station's frame.
double azimuth_rad(const Vector3d& line_m) {
    return std::atan2(line_m.x(), line_m.y());
}
double elevation_rad(const Vector3d& line_m) {
    return std::atan2(line_m.z(), std::hypot(line_m.x(), line_m.y()));
}

/// 1-sigma about the line given [rad]: of its angles, and of its direction.
struct Spread {
    double azimuth, elevation, direction;
};

/// For a position that may be unsure by more than its distance: six points at sqrt(3) sigma along the axes of the
/// covariance have the mean and the covariance of the position (S. J. Julier, J. K. Uhlmann, "Unscented filtering and
/// nonlinear estimation", Proc. IEEE 92 (2004), section III-A).
Spread spread_rad(const Vector3d& line_m, const Matrix3d& covariance_m2) {
    if (!covariance_m2.allFinite()) return {kNaN, kNaN, kNaN};
    const Eigen::SelfAdjointEigenSolver<Matrix3d> axes(covariance_m2);
    Spread squares{};
    for (int axis = 0; axis < 3; ++axis) {
        const Vector3d arm_m = axes.eigenvectors().col(axis) * std::sqrt(3 * std::max(0.0, axes.eigenvalues()[axis]));
        for (const double side : {-1.0, 1.0}) {
            const Vector3d point_m = line_m + side * arm_m;
            const double turned = std::remainder(azimuth_rad(point_m) - azimuth_rad(line_m), 2 * std::numbers::pi);
            const double raised = elevation_rad(point_m) - elevation_rad(line_m);
            const double off = std::atan2(line_m.cross(point_m).norm(), line_m.dot(point_m));
            squares.azimuth += turned * turned / 6;
            squares.elevation += raised * raised / 6;
            squares.direction += off * off / 6;
        }
    }
    return {std::sqrt(squares.azimuth), std::sqrt(squares.elevation), std::sqrt(squares.direction)};
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
    out.range_rate_mps = toward.dot(velocity);
    out.slant_range_sigma_m = std::sqrt(std::max(0.0, toward.dot(covariance * toward)));
    const Spread spread = spread_rad(line, covariance);
    out.elevation_rad = elevation_rad(line);
    out.elevation_sigma_rad = spread.elevation;
    if (ground < 1e-6 * range) { // straight overhead
        out.azimuth_true_rad = out.azimuth_magnetic_rad = out.azimuth_sigma_rad = kNone;
    } else {
        out.azimuth_true_rad = wrap(azimuth_rad(line));
        out.azimuth_magnetic_rad = wrap(out.azimuth_true_rad - radians(site_->declination_deg));
        out.azimuth_sigma_rad = spread.azimuth;
    }
    out.pointing_error_half_beams = spread.direction / (0.5 * radians(site_->antenna_beamwidth_deg));
    return out;
}

} // namespace turnstone::estimate
