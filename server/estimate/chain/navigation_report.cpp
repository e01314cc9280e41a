#include "server/estimate/chain/navigation_report.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "server/estimate/math/angles.hpp"
#include "server/estimate/math/rotation.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

using Eigen::Vector3d;

namespace {

constexpr double kRowPeriod_s = 0.04;
constexpr double kWaitingRow_s = 1.0;
constexpr double kSilent_s = 1.0;
constexpr double kFlowUsable_mps = 5.0;

} // namespace

TableOf<NavigationFigures> navigation_table() {
    using S = const NavigationFigures&;
    constexpr const char* kGroup = "Navigation";
    constexpr const char* kAttitude = "Attitude";
    TableOf<NavigationFigures> table{"navigation", "Navigation", kRowPeriod_s};
    table.add(
        {"mode", "Navigation mode", "1", kGroup, 0, "", enumeration<NavigationMode>()},
        [](S r) { return static_cast<double>(r.estimate.mode); });
    table
        .add(
            {"east_m", "East of the pad", "m", kGroup, 1}, [](S r) { return r.estimate.position_enu_m.x(); })
        .sigma([](S r) { return r.estimate.position_sigma_m.x(); }, 1)
        .add(
            {"north_m", "North of the pad", "m", kGroup, 1}, [](S r) { return r.estimate.position_enu_m.y(); })
        .sigma([](S r) { return r.estimate.position_sigma_m.y(); }, 1)
        .add(
            {"up_m", "Altitude AGL", "m", kGroup, 1}, [](S r) { return r.estimate.position_enu_m.z(); })
        .sigma([](S r) { return r.estimate.position_sigma_m.z(); }, 1)
        .add(
            {"latitude_deg", "Latitude", "deg", "", 7, "WGS 84"}, [](S r) { return r.geodetic.latitude_deg; })
        .add(
            {"longitude_deg", "Longitude", "deg", "", 7, "WGS 84"}, [](S r) { return r.geodetic.longitude_deg; })
        .add(
            {"height_m", "Height above the ellipsoid", "m", "", 1, "WGS 84", {}, "up_m_sigma"},
            [](S r) { return r.geodetic.height_m; })
        .add(
            {"velocity_east_mps", "Velocity east", "m/s", kGroup, 1},
            [](S r) { return r.estimate.velocity_enu_mps.x(); })
        .sigma([](S r) { return r.estimate.velocity_sigma_mps.x(); })
        .add(
            {"velocity_north_mps", "Velocity north", "m/s", kGroup, 1},
            [](S r) { return r.estimate.velocity_enu_mps.y(); })
        .sigma([](S r) { return r.estimate.velocity_sigma_mps.y(); })
        .add(
            {"velocity_up_mps", "Velocity up", "m/s", kGroup, 1}, [](S r) { return r.estimate.velocity_enu_mps.z(); })
        .sigma([](S r) { return r.estimate.velocity_sigma_mps.z(); });
    table
        .add(
            {"q_w", "Attitude, w", "1", "", 4, "Body to local, Hamilton quaternion"},
            [](S r) { return r.estimate.q_local_body.w(); })
        .add(
            {"q_x", "Attitude, x", "1", "", 4}, [](S r) { return r.estimate.q_local_body.x(); })
        .add(
            {"q_y", "Attitude, y", "1", "", 4}, [](S r) { return r.estimate.q_local_body.y(); })
        .add(
            {"q_z", "Attitude, z", "1", "", 4}, [](S r) { return r.estimate.q_local_body.z(); })
        .add(
            {"attitude_x_deg_sigma", "Attitude about body x, 1-sigma", "deg", "", 1},
            [](S r) { return degrees(r.estimate.attitude_sigma_rad.x()); })
        .add(
            {"attitude_y_deg_sigma", "Attitude about body y, 1-sigma", "deg", "", 1},
            [](S r) { return degrees(r.estimate.attitude_sigma_rad.y()); })
        .add(
            {"attitude_z_deg_sigma", "Attitude about body z, 1-sigma", "deg", "", 1},
            [](S r) { return degrees(r.estimate.attitude_sigma_rad.z()); })
        .add(
            {"tilt_deg", "Tilt", "deg", kAttitude, 1, "Long axis from vertical"},
            [](S r) { return degrees(r.estimate.tilt_rad); })
        .sigma([](S r) { return degrees(r.estimate.tilt_sigma_rad); }, 1)
        .add(
            {"tilt_heading_deg", "Tilt heading", "deg", kAttitude, 0,
             "Azimuth the nose leans to, clockwise from true north"},
            [](S r) { return degrees(r.estimate.tilt_heading_rad); })
        .add(
            {"roll_deg", "Roll", "deg", kAttitude, 0, "About the long axis since alignment, not wrapped"},
            [](S r) { return degrees(r.estimate.roll_rad); })
        .add(
            {"rate_x_degps", "Roll rate", "deg/s", kAttitude, 0, "Bias removed"},
            [](S r) { return degrees(r.estimate.rate_body_radps.x()); })
        .add(
            {"rate_y_degps", "Rate about body y", "deg/s", "", 1, "Bias removed"},
            [](S r) { return degrees(r.estimate.rate_body_radps.y()); })
        .add(
            {"rate_z_degps", "Rate about body z", "deg/s", "", 1, "Bias removed"},
            [](S r) { return degrees(r.estimate.rate_body_radps.z()); })
        .add(
            {"angle_of_attack_deg", "Angle of attack", "deg", kAttitude, 1,
             "In the body x-z plane; above 5 m/s, when the wind is known"},
            [](S r) { return r.angle_of_attack_deg; })
        .add(
            {"sideslip_deg", "Sideslip", "deg", kAttitude, 1,
             "Out of the body x-z plane; above 5 m/s, when the wind is known"},
            [](S r) { return r.sideslip_deg; });
    table
        .add(
            {"accel_bias_x_mps2", "Accelerometer bias, x", "m/s2", "", 3},
            [](S r) { return r.estimate.accel_bias_mps2.x(); })
        .add(
            {"accel_bias_y_mps2", "Accelerometer bias, y", "m/s2", "", 3},
            [](S r) { return r.estimate.accel_bias_mps2.y(); })
        .add(
            {"accel_bias_z_mps2", "Accelerometer bias, z", "m/s2", "", 3},
            [](S r) { return r.estimate.accel_bias_mps2.z(); })
        .add(
            {"gyro_bias_x_degps", "Gyro bias, x", "deg/s", "", 3},
            [](S r) { return degrees(r.estimate.gyro_bias_radps.x()); })
        .add(
            {"gyro_bias_y_degps", "Gyro bias, y", "deg/s", "", 3},
            [](S r) { return degrees(r.estimate.gyro_bias_radps.y()); })
        .add(
            {"gyro_bias_z_degps", "Gyro bias, z", "deg/s", "", 3},
            [](S r) { return degrees(r.estimate.gyro_bias_radps.z()); });
    const auto known = [](S r, double value) { return r.estimate.valid ? value : kNaN; };
    table
        .add({"hypotheses", "Alignments", "1", "", 0, "Hypotheses about the alignment still in use"},
             [known](S r) { return known(r, static_cast<double>(r.estimate.hypotheses)); })
        .add({"fix_nis", "GNSS NIS, mean", "1", "", 2,
              "Normalised innovation squared of fixes per degree of freedom, mean of 50; 1 is ideal"},
             [](S r) { return r.estimate.nis_fix_mean; })
        .add({"fix_health", "GNSS fixes", "1", kGroup, 0, "Against the filter's own 1-sigma", enumeration<Health>()},
             [known](S r) { return known(r, static_cast<double>(r.estimate.health_fix)); })
        .add({"height_nis", "Pressure altitude NIS, mean", "1", "", 2, "Mean of 50; 1 is ideal"},
             [](S r) { return r.estimate.nis_height_mean; })
        .add({"height_health", "Pressure altitude", "1", "", 0, "Against the filter's own 1-sigma",
              enumeration<Health>()},
             [known](S r) { return known(r, static_cast<double>(r.estimate.health_height)); })
        .add({"rejected_fixes", "Rejected fixes", "1", "", 0, "By the chi-square gate"},
             [known](S r) { return known(r, static_cast<double>(r.estimate.rejected_fixes)); })
        .add({"rejected_heights", "Rejected pressure altitudes", "1", "", 0, "By the chi-square gate"},
             [known](S r) { return known(r, static_cast<double>(r.estimate.rejected_heights)); });
    return table;
}

TableOf<LookAngles> look_angles_table() {
    using S = const LookAngles&;
    constexpr const char* kGroup = "Antenna";
    TableOf<LookAngles> table{"look_angles", "Look angles from the station", kRowPeriod_s};
    table
        .add({"azimuth_deg", "Azimuth, true", "deg", kGroup, 1, "Clockwise from true north"},
             [](S l) { return degrees(l.azimuth_true_rad); })
        .sigma([](S l) { return degrees(l.azimuth_sigma_rad); })
        .add({"azimuth_magnetic_deg",
              "Azimuth, magnetic",
              "deg",
              kGroup,
              1,
              "Clockwise from magnetic north",
              {},
              "azimuth_deg_sigma"},
             [](S l) { return degrees(l.azimuth_magnetic_rad); })
        .add({"elevation_deg", "Elevation", "deg", kGroup, 1, "Above the horizon"},
             [](S l) { return degrees(l.elevation_rad); })
        .sigma([](S l) { return degrees(l.elevation_sigma_rad); })
        .add({"slant_range_m", "Slant range", "m", kGroup, 0}, [](S l) { return l.slant_range_m; })
        .sigma([](S l) { return l.slant_range_sigma_m; }, 1)
        .add({"range_rate_mps", "Range rate", "m/s", "", 1, "Positive when moving away"},
             [](S l) { return l.range_rate_mps; })
        .add({"pointing_half_beams", "Pointing error", "1", kGroup, 2,
              "1-sigma, in half beamwidths; below 1 the vehicle is in the beam"},
             [](S l) { return l.pointing_error_half_beams; });
    return table;
}

TableOf<OnboardComparison> onboard_comparison_table() {
    using S = const OnboardComparison&;
    constexpr const char* kGroup = "Ground − on board";
    TableOf<OnboardComparison> table{"onboard_comparison", "Ground − on board", 0.1};
    table.add({"altitude_m", "Altitude AGL", "m", kGroup, 1}, [](S c) { return c.altitude_m; })
        .sigma([](S c) { return c.altitude_sigma_m; }, 1)
        .add({"vertical_speed_mps", "Vertical speed", "m/s", kGroup}, [](S c) { return c.vertical_speed_mps; })
        .sigma([](S c) { return c.vertical_speed_sigma_mps; })
        .add({"speed_mps", "Speed", "m/s", kGroup}, [](S c) { return c.speed_mps; })
        .sigma([](S c) { return c.speed_sigma_mps; })
        .add({"attitude_deg", "Attitude", "deg", kGroup, 1, "Angle between the two attitudes"},
             [](S c) { return degrees(c.attitude_rad); })
        .sigma([](S c) { return degrees(c.attitude_sigma_rad); }, 1)
        .add({"long_axis_deg", "Pointing", "deg", kGroup, 1, "Angle between the two pointing directions"},
             [](S c) { return degrees(c.long_axis_rad); })
        .sigma([](S c) { return degrees(c.long_axis_sigma_rad); }, 1);
    return table;
}

NavigationReport::NavigationReport(const Site& site, bool has_onboard, std::vector<TableDescription>& tables)
    : view_(site), frame_(site.pad), navigation_(navigation_table(), tables),
      look_angles_(look_angles_table(), tables) {
    if (has_onboard) comparison_.emplace(onboard_comparison_table(), tables);
}

void NavigationReport::write(std::int64_t t_ns, const Navigation& navigation, const WindProfile& wind,
                             EstimateSink& sink) {
    if (navigation.t_ns() != t_ns || seconds_between(t_row_ns_, t_ns) < kRowPeriod_s) return;
    NavigationFigures row{.estimate = navigation.estimate()};
    const NavigationEstimate& e = row.estimate;
    if (!e.valid) return; // the tick reports the mode
    announce(e.mode, e.t_ns, sink);
    t_row_ns_ = t_ns;
    row.geodetic = frame_.to_geodetic(e.position_enu_m);
    const Vector3d flow_mps = wind.against_air_mps(e.velocity_enu_mps, e.position_enu_m.z());
    if (!wind.unknown() && flow_mps.norm() > kFlowUsable_mps) {
        const Vector3d body_mps = e.q_local_body.conjugate() * flow_mps;
        row.angle_of_attack_deg = degrees(std::atan2(body_mps.z(), body_mps.x()));
        row.sideslip_deg = degrees(std::asin(std::clamp(body_mps.y() / body_mps.norm(), -1.0, 1.0)));
    }
    navigation_.write(e.t_ns, row, sink);
    look_angles_.write(
        e.t_ns, view_.look_angles(e.position_enu_m, e.velocity_enu_mps, navigation.covariance().topLeftCorner<3, 3>()),
        sink);
}

void NavigationReport::onboard_comparison(const OnboardSample& onboard, const VerticalEstimate& vertical,
                                          const Navigation& navigation, EstimateSink& sink) {
    if (!comparison_ || !vertical.valid) return;
    const double later_s = seconds_between(vertical.t_ns, onboard.t_ns);
    OnboardComparison row{.altitude_m =
                              vertical.altitude_m + later_s * vertical.vertical_speed_mps - onboard.altitude_m,
                          .altitude_sigma_m = vertical.altitude_sigma_m,
                          .vertical_speed_mps = vertical.vertical_speed_mps + later_s * vertical.acceleration_mps2 -
                                                onboard.vertical_speed_mps,
                          .vertical_speed_sigma_mps = vertical.vertical_speed_sigma_mps};
    const NavigationEstimate e = navigation.estimate();
    if (e.valid) {
        row.speed_mps = e.velocity_enu_mps.norm() - onboard.speed_mps;
        row.speed_sigma_mps = e.velocity_sigma_mps.norm() / std::numbers::sqrt3;
    }
    if (e.valid && onboard.q_local_body.coeffs().allFinite() && onboard.q_local_body.norm() > 0.5) {
        const double turned_s = seconds_between(e.t_ns, onboard.t_ns);
        const Eigen::Quaterniond ours = e.q_local_body * quaternion_from_rotation_vector(e.rate_body_radps * turned_s);
        const Eigen::Quaterniond theirs = onboard.q_local_body.normalized();
        const Vector3d a = ours * Vector3d::UnitX();
        const Vector3d b = theirs * Vector3d::UnitX();
        row.attitude_rad = ours.angularDistance(theirs);
        row.attitude_sigma_rad = e.attitude_sigma_rad.norm();
        row.long_axis_rad = std::atan2(a.cross(b).norm(), a.dot(b));
        row.long_axis_sigma_rad = e.attitude_sigma_rad.tail<2>().norm();
    }
    comparison_->write(onboard.t_ns, row, sink);
}

void NavigationReport::announce(NavigationMode mode, std::int64_t t_ns, EventSink& events) {
    if (announced_ == mode) return;
    const bool was_flying = announced_ == NavigationMode::gnss_aided || announced_ == NavigationMode::dead_reckoning;
    announced_ = mode;
    if (mode == NavigationMode::dead_reckoning)
        events.event({.id = EventId::dead_reckoning, .t_ns = t_ns});
    else if (mode == NavigationMode::gnss_aided && was_flying)
        events.event({.id = EventId::gnss_aided, .t_ns = t_ns});
    else if (mode == NavigationMode::lost)
        events.event({.id = EventId::attitude_lost, .t_ns = t_ns});
}

void NavigationReport::tick(std::int64_t t_ns, const Navigation& navigation, EstimateSink& sink) {
    if (seconds_between(t_row_ns_, t_ns) < kWaitingRow_s) return;
    t_row_ns_ = t_ns;
    NavigationFigures row;
    if (seconds_between(navigation.t_ns(), t_ns) > kSilent_s) {
        row.estimate.mode = NavigationMode::vertical_only;
    } else {
        row.estimate.mode = navigation.estimate().mode;
        announce(row.estimate.mode, t_ns, sink);
    }
    navigation_.write(t_ns, row, sink);
}

} // namespace turnstone::estimate
