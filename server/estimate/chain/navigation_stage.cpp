#include "server/estimate/chain/navigation_stage.hpp"

#include <array>
#include <cmath>
#include <numbers>

#include "server/estimate/chain/navigation_tables.hpp"
#include "shared/time.hpp"

namespace turnstone {

using Eigen::Vector3d;

namespace {

constexpr double kDegree = 180 / std::numbers::pi;
constexpr double kRowPeriod_s = 0.04;
constexpr double kWaitingRow_s = 1.0;
constexpr double kSilent_s = 1.0;
constexpr double kTiltUsable_rad = 0.1;
constexpr double kFlowUsable_mps = 5.0;
constexpr double kVerticalOnly = 5; ///< value of the mode column, beside those of NavigationMode
constexpr double kPortShare =
    0.05; // steady port error as a share of dynamic pressure, 1-sigma: this filter does not estimate it

} // namespace

NavigationStage::NavigationStage(const Vehicle& vehicle, const Site& site, bool has_onboard,
                                 std::vector<EstimateTable>& tables)
    : navigation_(vehicle.sensors, site), view_(site), frame_(site.pad), navigation_table_(tables.size()),
      look_table_(tables.size() + 1), has_onboard_(has_onboard) {
    tables.push_back(navigation_table());
    tables.push_back(look_table());
    if (has_onboard_) {
        compare_table_ = tables.size();
        tables.push_back(compare_table());
    }
}

void NavigationStage::imu(const ImuSample& sample, const PhaseDetector& phases) {
    motion_ = phases.motion();
    navigation_.set_motion(motion_);
    navigation_.imu(sample);
    if (sample.accel_body_mps2.allFinite() && sample.rate_body_rad_s.allFinite())
        t_imu_ns_ = std::max(t_imu_ns_, sample.t_ns);
}

void NavigationStage::height(std::int64_t t_ns, const AirHeights& air, const AirSpeeds& speeds) {
    const double q_pa = std::isfinite(speeds.dynamic_pressure_pa) ? speeds.dynamic_pressure_pa : 0.0;
    const double port_m =
        std::hypot(port_noise_pa(speeds.mach, q_pa), kPortShare * q_pa) / (air.density_kg_m3 * kGravityStandard_mps2);
    navigation_.height(t_ns, air.above_pad_m, air.above_pad_noise_m, std::hypot(air.above_pad_sigma_m, port_m));
}

std::optional<TiltInput> NavigationStage::tilt() const {
    const bool climbing = motion_ == Motion::boost || motion_ == Motion::coast;
    if (!climbing || !navigation_.moving()) return std::nullopt;
    const auto tilt = navigation_.tilt();
    return tilt && tilt->sigma_rad < kTiltUsable_rad ? tilt : std::nullopt;
}

Eigen::Vector2d NavigationStage::air_speed_mps(const WindProfile& wind) const {
    if (wind.unknown() || !navigation_.moving()) return {kNaN, kNaN};
    const NavigationEstimate e = navigation_.estimate();
    Vector3d flow = e.velocity_enu_mps;
    flow.head<2>() -= wind.at(e.position_enu_m.z());
    const double sigma =
        std::hypot(e.velocity_sigma_mps.norm() / std::numbers::sqrt3,
                   wind.sigma_mps(e.position_enu_m.z()) * flow.head<2>().norm() / std::max(1.0, flow.norm()));
    return {flow.norm(), sigma};
}

void NavigationStage::report(const ImuSample& sample, const WindProfile& wind, EstimateSink& sink) {
    if (sample.t_ns != t_imu_ns_ || seconds_between(t_row_ns_, sample.t_ns) < kRowPeriod_s) return;
    const NavigationEstimate e = navigation_.estimate();
    if (!e.valid) return; // the tick reports the mode
    announce(e.mode, e.t_ns, sink);
    t_row_ns_ = sample.t_ns;
    const GeodeticPosition geodetic = frame_.to_geodetic(e.position_enu_m);
    double attack_deg = kNaN;
    double sideslip_deg = kNaN;
    Vector3d flow = e.velocity_enu_mps;
    flow.head<2>() -= wind.at(e.position_enu_m.z());
    if (!wind.unknown() && flow.norm() > kFlowUsable_mps) {
        const Vector3d body = e.q_local_body.conjugate() * flow;
        attack_deg = std::atan2(body.z(), body.x()) * kDegree;
        sideslip_deg = std::asin(std::clamp(body.y() / body.norm(), -1.0, 1.0)) * kDegree;
    }
    const Vector3d attitude_sigma = e.attitude_sigma_rad * kDegree;
    const Vector3d rate = e.rate_body_rad_s * kDegree;
    const Vector3d gyro_bias = e.gyro_bias_rad_s * kDegree;
    const std::array<double, 45> row{static_cast<double>(e.mode),
                                     e.position_enu_m.x(),
                                     e.position_enu_m.y(),
                                     e.position_enu_m.z(),
                                     e.position_sigma_m.x(),
                                     e.position_sigma_m.y(),
                                     e.position_sigma_m.z(),
                                     geodetic.latitude_deg,
                                     geodetic.longitude_deg,
                                     geodetic.height_m,
                                     e.velocity_enu_mps.x(),
                                     e.velocity_enu_mps.y(),
                                     e.velocity_enu_mps.z(),
                                     e.velocity_sigma_mps.x(),
                                     e.velocity_sigma_mps.y(),
                                     e.velocity_sigma_mps.z(),
                                     e.q_local_body.w(),
                                     e.q_local_body.x(),
                                     e.q_local_body.y(),
                                     e.q_local_body.z(),
                                     attitude_sigma.x(),
                                     attitude_sigma.y(),
                                     attitude_sigma.z(),
                                     e.tilt_rad * kDegree,
                                     e.tilt_sigma_rad * kDegree,
                                     e.tilt_heading_rad * kDegree,
                                     e.roll_rad * kDegree,
                                     rate.x(),
                                     rate.y(),
                                     rate.z(),
                                     attack_deg,
                                     sideslip_deg,
                                     e.accel_bias_mps2.x(),
                                     e.accel_bias_mps2.y(),
                                     e.accel_bias_mps2.z(),
                                     gyro_bias.x(),
                                     gyro_bias.y(),
                                     gyro_bias.z(),
                                     static_cast<double>(navigation_.branches()),
                                     e.nis_fix_mean,
                                     static_cast<double>(e.health_fix),
                                     e.nis_height_mean,
                                     static_cast<double>(e.health_height),
                                     static_cast<double>(e.rejected_fixes),
                                     static_cast<double>(e.rejected_heights)};
    sink.row(navigation_table_, e.t_ns, row);

    const LookAngles look =
        view_.look(e.position_enu_m, e.velocity_enu_mps, navigation_.covariance().topLeftCorner<3, 3>());
    const std::array<double, 9> angles{look.azimuth_true_rad * kDegree,    look.azimuth_magnetic_rad * kDegree,
                                       look.azimuth_sigma_rad * kDegree,   look.elevation_rad * kDegree,
                                       look.elevation_sigma_rad * kDegree, look.slant_range_m,
                                       look.slant_range_sigma_m,           look.range_rate_mps,
                                       look.pointing_error_half_beams};
    sink.row(look_table_, e.t_ns, angles);
}

void NavigationStage::onboard(const OnboardSample& sample, const VerticalEstimate& vertical, EstimateSink& sink) {
    if (!has_onboard_ || !vertical.valid) return;
    const double later_s = seconds_between(vertical.t_ns, sample.t_ns);
    std::array<double, 10> row{vertical.altitude_m + later_s * vertical.vertical_speed_mps - sample.altitude_m,
                               vertical.altitude_sigma_m,
                               vertical.vertical_speed_mps + later_s * vertical.acceleration_mps2 -
                                   sample.vertical_speed_mps,
                               vertical.vertical_speed_sigma_mps,
                               kNaN,
                               kNaN,
                               kNaN,
                               kNaN,
                               kNaN,
                               kNaN};
    const NavigationEstimate e = navigation_.estimate();
    if (e.valid) {
        const double speed = e.velocity_enu_mps.norm();
        row[4] = speed - sample.speed_mps;
        row[5] = e.velocity_sigma_mps.norm() / std::numbers::sqrt3;
        if (sample.q_local_body.coeffs().allFinite() && sample.q_local_body.norm() > 0.5) {
            const double turned_s = seconds_between(e.t_ns, sample.t_ns);
            const Eigen::Quaterniond ground =
                e.q_local_body * quaternion_from_rotation_vector(e.rate_body_rad_s * turned_s);
            const Eigen::Quaterniond onboard = sample.q_local_body.normalized();
            row[6] = ground.angularDistance(onboard) * kDegree;
            row[7] = e.attitude_sigma_rad.norm() * kDegree;
            const Vector3d a = ground * Vector3d::UnitX();
            const Vector3d b = onboard * Vector3d::UnitX();
            row[8] = std::atan2(a.cross(b).norm(), a.dot(b)) * kDegree;
            row[9] = e.attitude_sigma_rad.tail<2>().norm() * kDegree;
        }
    }
    sink.row(compare_table_, sample.t_ns, row);
}

void NavigationStage::announce(NavigationMode mode, std::int64_t t_ns, EstimateSink& sink) {
    if (announced_ == mode) return;
    const bool was_flying = announced_ == NavigationMode::aided || announced_ == NavigationMode::dead_reckoning;
    announced_ = mode;
    if (mode == NavigationMode::dead_reckoning) {
        sink.event({t_ns, 0.0, EventKind::flight_event, Level::advisory, "estimate/navigation/dead_reckoning",
                    "No usable satellite fix: position is dead reckoning and its uncertainty grows"});
    } else if (mode == NavigationMode::aided && was_flying) {
        sink.event(
            {t_ns, 0.0, EventKind::flight_event, Level::note, "estimate/navigation/aided", "Satellite fixes in use"});
    } else if (mode == NavigationMode::lost) {
        sink.event({t_ns, 0.0, EventKind::flight_event, Level::advisory, "estimate/navigation/lost",
                    "Navigation lost its attitude: vertical motion only, until the vehicle rests"});
    }
}

void NavigationStage::tick(std::int64_t t_ns, EstimateSink& sink) {
    if (seconds_between(t_row_ns_, t_ns) < kWaitingRow_s) return;
    t_row_ns_ = t_ns;
    const NavigationEstimate e = navigation_.estimate();
    const bool silent = seconds_between(t_imu_ns_, t_ns) > kSilent_s;
    std::array<double, 45> row;
    row.fill(kNaN);
    row[0] = silent ? kVerticalOnly : static_cast<double>(e.mode);
    if (!silent) announce(e.mode, t_ns, sink);
    sink.row(navigation_table_, t_ns, row);
}

} // namespace turnstone
