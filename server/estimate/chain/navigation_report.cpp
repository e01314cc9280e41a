#include "server/estimate/chain/navigation_report.hpp"

#include <algorithm>
#include <cmath>

#include "server/estimate/math/angles.hpp"
#include "server/estimate/math/fall.hpp"
#include "server/estimate/navigation/carried.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

using Eigen::Vector3d;

namespace {

constexpr double kRowPeriod_s = 0.04, kRowPeriodDown_s = 0.1;
constexpr double kWaitingRow_s = 1.0;
constexpr double kSilentRow_s = 0.1;
constexpr double kCarriedAfter_s = 0.25;
constexpr double kUnusual = 1.5; // of how old samples get between packets
constexpr double kUsualFollows = 0.2;
constexpr double kSurelyBack_m = 10.0;
constexpr double kSilent_s = 1.0;
constexpr double kRunsOn_s = 10.0; ///< an antenna is led through a fade, and not after what is gone

bool hears_inertial(const Navigation* navigation, std::int64_t t_ns) {
    return navigation != nullptr && seconds_between(navigation->t_ns(), t_ns) <= kSilent_s;
}

/// Fixes show speed, or distance from where navigation has the vehicle at rest: a smooth motion that no accelerometer
/// tells from rest (a balloon, a drive on a good road) must not hold it there.
bool has_moved(const TranslationEstimate& e, const Vector3d& rest_enu_m) {
    constexpr double kAway_m = 30, kMoving_mps = 2, kSure = 4;
    if (!e.valid) return false;
    const Vector3d away_m = e.position_enu_m - rest_enu_m;
    return away_m.head<2>().norm() > kAway_m + kSure * e.position_sigma_m().head<2>().maxCoeff() ||
           e.velocity_enu_mps.norm() > kMoving_mps + kSure * e.velocity_sigma_mps().maxCoeff();
}

/// On the rail the crew waits for the attitude: there the mode says so, beside the position.
NavigationMode mode_without_attitude(std::int64_t t_ns, const PositionSources& sources) {
    if (hears_inertial(sources.navigation, t_ns) && sources.navigation->estimate().mode == NavigationMode::aligning)
        return NavigationMode::aligning;
    return seconds_between(sources.translation->t_fix_ns(), t_ns) < Navigation::kAidedFor_s
               ? NavigationMode::aided_without_attitude
               : NavigationMode::dead_reckoning;
}

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
            {"altitude_msl_m", "Altitude MSL", "m", "", 1, "", {}, "up_m_sigma"}, [](S r) { return r.altitude_msl_m; })
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
        .add({"q_w", "Attitude, w", "1", "", 4, "Body to local, Hamilton quaternion"},
             [](S r) { return r.estimate.q_local_body.w(); })
        .add({"q_x", "Attitude, x", "1", "", 4}, [](S r) { return r.estimate.q_local_body.x(); })
        .add({"q_y", "Attitude, y", "1", "", 4}, [](S r) { return r.estimate.q_local_body.y(); })
        .add({"q_z", "Attitude, z", "1", "", 4}, [](S r) { return r.estimate.q_local_body.z(); })
        .add({"attitude_x_deg_sigma", "Attitude about body x, 1-sigma", "deg", "", 1},
             [](S r) { return degrees(r.estimate.attitude_sigma_rad.x()); })
        .add({"attitude_y_deg_sigma", "Attitude about body y, 1-sigma", "deg", "", 1},
             [](S r) { return degrees(r.estimate.attitude_sigma_rad.y()); })
        .add({"attitude_z_deg_sigma", "Attitude about body z, 1-sigma", "deg", "", 1},
             [](S r) { return degrees(r.estimate.attitude_sigma_rad.z()); })
        .add({"tilt_deg", "Tilt", "deg", kAttitude, 1, "Long axis from vertical"},
             [](S r) { return degrees(r.estimate.tilt_rad); })
        .sigma([](S r) { return degrees(r.estimate.tilt_sigma_rad); }, 1)
        .add({"tilt_heading_deg", "Tilt heading", "deg", kAttitude, 0,
              "Azimuth the nose leans to, clockwise from true north"},
             [](S r) { return degrees(r.estimate.tilt_heading_rad); })
        .add({"roll_deg", "Roll", "deg", kAttitude, 0, "About the long axis since alignment, not wrapped"},
             [](S r) { return degrees(r.estimate.roll_rad); })
        .add({"rate_x_degps", "Roll rate", "deg/s", kAttitude, 0, "Bias removed"},
             [](S r) { return degrees(r.estimate.roll_rate_radps); })
        .sigma([](S r) { return degrees(r.estimate.roll_rate_sigma_radps); })
        .add({"roll_acceleration_degps2", "Roll acceleration", "deg/s2", "", 0, "Mean of a tenth of a second"},
             [](S r) { return degrees(r.estimate.roll_acceleration_radps2); })
        .sigma([](S r) { return degrees(r.estimate.roll_acceleration_sigma_radps2); })
        .add({"rate_y_degps", "Rate about body y", "deg/s", "", 1, "Bias removed"},
             [](S r) { return degrees(r.estimate.rate_body_radps.y()); })
        .add({"rate_z_degps", "Rate about body z", "deg/s", "", 1, "Bias removed"},
             [](S r) { return degrees(r.estimate.rate_body_radps.z()); });
    // All of them above 5 m/s against the air, when the wind is known, and until a parachute is out.
    table
        .add(
            {"angle_of_attack_deg", "Angle of attack", "deg", kAttitude, 1, "In the body x-z plane"},
            [](S r) { return degrees(r.flow.angle_of_attack_rad); })
        .sigma([](S r) { return degrees(r.flow.angle_of_attack_sigma_rad); })
        .add(
            {"sideslip_deg", "Sideslip", "deg", kAttitude, 1, "Out of the body x-z plane"},
            [](S r) { return degrees(r.flow.sideslip_rad); })
        .sigma([](S r) { return degrees(r.flow.sideslip_sigma_rad); })
        .add(
            {"total_angle_of_attack_deg", "Total angle of attack", "deg", kAttitude, 1,
             "Between the nose and the flow"},
            [](S r) { return degrees(r.flow.total_rad); })
        .sigma([](S r) { return degrees(r.flow.total_sigma_rad); })
        .add(
            {"q_alpha_pa_deg", "q alpha", "Pa deg", kAttitude, 0, "Dynamic pressure times total angle of attack"},
            [](S r) { return degrees(r.flow.load_pa_rad); })
        .sigma([](S r) { return degrees(r.flow.load_sigma_pa_rad); });
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

NavigationReport::NavigationReport(const Site& site, std::vector<TableDescription>& tables)
    : view_(site), frame_(site.pad), geoid_height_m_(site.geoid_height_m), navigation_(navigation_table(), tables),
      look_angles_(look_angles_table(), tables) {}

void NavigationReport::write(std::int64_t t_ns, const PositionSources& sources, EstimateSink& sink) {
    const double period_s = sources.down ? kRowPeriodDown_s : kRowPeriod_s;
    if (seconds_between(t_row_ns_, t_ns) < period_s || write_navigation(t_ns, sources, sink)) return;
    if (seconds_between(t_tried_ns_, t_ns) < period_s) return;
    t_tried_ns_ = t_ns;
    (void)write_translation(t_ns, sources, sink);
}

/// Navigation has the position: valid, and where it holds the vehicle at rest fixes do not show that it is elsewhere.
/// What they showed holds between them. One that has felt the vehicle leave follows it, whatever the phase says yet;
/// on the ground, until it is aligned again, it only calls what it feels a motion.
bool NavigationReport::knows_position(const PositionSources& sources, const NavigationEstimate& e) {
    if (sources.navigation->rest_doubted()) return false;
    const bool follows = sources.navigation->moving() && !sources.down;
    if (!e.valid || follows || sources.translation == nullptr) {
        moved_ = false;
        return e.valid;
    }
    const TranslationEstimate translation = sources.translation->estimate();
    if (has_moved(translation, e.position_enu_m))
        moved_ = true;
    else if (translation.valid && translation.position_sigma_m().head<2>().maxCoeff() < kSurelyBack_m)
        moved_ = false;
    return !moved_;
}

/// True when position is navigation's to tell, now or with its next inertial sample.
bool NavigationReport::write_navigation(std::int64_t t_ns, const PositionSources& sources, EstimateSink& sink) {
    if (!hears_inertial(sources.navigation, t_ns)) return false;
    const Eskf::Covariance covariance = sources.navigation->covariance();
    NavigationFigures row{.estimate = sources.navigation->estimate(covariance)};
    const NavigationEstimate& e = row.estimate;
    if (!knows_position(sources, e)) return false;
    if (e.t_ns != t_ns) return true;
    announce(e.mode, t_ns, sink);
    const WindProfile* wind = sources.wind;
    const double height_m = e.position_enu_m.z();
    if (wind != nullptr && !wind->unknown())
        row.flow = flow_angles(e.q_local_body, covariance, wind->against_air_mps(e.velocity_enu_mps, height_m),
                               wind->sigma_mps(height_m), sources.density_kg_m3);
    write_row(t_ns, row, covariance.topLeftCorner<3, 3>(), sink);
    return true;
}

/// Navigation's last state as it goes on by itself. True when that was written.
bool NavigationReport::write_ahead(std::int64_t t_ns, const PositionSources& sources, EstimateSink& sink) {
    const Navigation* navigation = sources.navigation;
    if (navigation == nullptr) return false;
    const double late_s = seconds_between(navigation->t_ns(), t_ns);
    if (navigation->t_ns() != t_inertial_ns_) usual_s_ += kUsualFollows * (late_s_ - usual_s_);
    t_inertial_ns_ = navigation->t_ns();
    late_s_ = late_s;
    if (!navigation->moving() || !hears_inertial(navigation, t_ns) ||
        late_s < std::max(kCarriedAfter_s, kUnusual * usual_s_) || seconds_between(t_row_ns_, t_ns) < kSilentRow_s)
        return false;
    const auto ahead = [&](std::int64_t then_ns) { return carried_to(then_ns, *navigation, sources.motion); };
    const CarriedNavigation carried = ahead(falls_until_ns(
        navigation->t_ns(), t_ns, [&](std::int64_t then_ns) { return ahead(then_ns).estimate.position_enu_m.z(); }));
    write_row(t_ns, {.estimate = carried.estimate}, carried.covariance.topLeftCorner<3, 3>(), sink);
    return true;
}

/// False when no position is known.
bool NavigationReport::write_translation(std::int64_t t_ns, const PositionSources& sources, EstimateSink& sink) {
    if (sources.translation == nullptr) return false;
    sources.translation->advance(t_ns);
    const TranslationEstimate e = sources.translation->estimate();
    if (!e.valid || (!e.heard_within(kRunsOn_s, t_ns) && !hears_inertial(sources.navigation, t_ns))) return false;
    NavigationFigures row;
    row.estimate.t_ns = t_ns;
    row.estimate.mode = mode_without_attitude(t_ns, sources);
    row.estimate.position_enu_m = e.position_enu_m;
    row.estimate.position_sigma_m = e.position_sigma_m();
    row.estimate.velocity_enu_mps = e.velocity_enu_mps;
    row.estimate.velocity_sigma_mps = e.velocity_sigma_mps();
    // A silence is not a loss: navigation may bridge it.
    if (sources.navigation != nullptr && sources.navigation->estimate().mode == NavigationMode::lost)
        announce(NavigationMode::lost, t_ns, sink);
    write_row(t_ns, row, e.covariance.topLeftCorner<3, 3>(), sink);
    return true;
}

void NavigationReport::write_row(std::int64_t t_ns, NavigationFigures row,
                                 const Eigen::Matrix3d& position_covariance_m2, EstimateSink& sink) {
    t_row_ns_ = t_ns;
    row.geodetic = frame_.to_geodetic(row.estimate.position_enu_m);
    row.altitude_msl_m = row.geodetic.height_m - geoid_height_m_;
    navigation_.write(t_ns, row, sink);
    look_angles_.write(
        t_ns, view_.look_angles(row.estimate.position_enu_m, row.estimate.velocity_enu_mps, position_covariance_m2),
        sink);
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

void NavigationReport::tick(std::int64_t t_ns, const PositionSources& sources, EstimateSink& sink) {
    if (write_ahead(t_ns, sources, sink)) return;
    const bool inertial = hears_inertial(sources.navigation, t_ns);
    // Its next sample may be a second away.
    if (inertial && knows_position(sources, sources.navigation->estimate())) return;
    if (sources.rests) return;
    if (seconds_between(t_row_ns_, t_ns) >= kSilentRow_s && write_translation(t_ns, sources, sink)) return;
    if (seconds_between(t_row_ns_, t_ns) < kWaitingRow_s) return;
    t_row_ns_ = t_ns;
    NavigationFigures row;
    const bool was_heard = sources.translation != nullptr && sources.translation->t_fix_ns() != 0;
    row.estimate.mode = inertial    ? sources.navigation->estimate().mode
                        : was_heard ? NavigationMode::lost
                                    : NavigationMode::vertical_only;
    if (inertial) announce(row.estimate.mode, t_ns, sink);
    navigation_.write(t_ns, row, sink);
}

} // namespace turnstone::estimate
