#include "server/estimate/chain/prediction_rounds.hpp"

#include <algorithm>
#include <cmath>

#include "server/estimate/math/angles.hpp"
#include "shared/geodesy.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

constexpr int kBlocksPerSample = 4; // at 200 Hz a round takes a third of a second
constexpr int kBlocksPerTick = Predictor::kBlocks / 4;
constexpr double kRailPeriods = 20;
constexpr double kDrift_s = 3.0;
constexpr double kSeenWithin_s = 2.5; // of its time a parachute has opened and been recognised, or it stays shut
constexpr double kSettle_s = 4.0;     // of a parachute, after its phase began
constexpr double kGustFloor_mps = 0.4;
constexpr double kGustOfWind = 0.2;
constexpr double kCoastSettle_s = 0.2;
constexpr double kStale_s = 3.0;
constexpr double kHeightFloor_m = 0.63; // apogee is where the vehicle's middle was
constexpr double kVarianceFloor = 1e-4;

} // namespace

PredictionRounds::PredictionRounds(const RocketModel& rocket, const Site& site)
    : rocket_(&rocket), site_(&site), gravity_mps2_(normal_gravity_mps2(site.pad.latitude_deg, site.pad.height_m)),
      fit_(rocket), predictor_(rocket, site) {}

std::optional<Prediction> PredictionRounds::imu(const ImuSample& sample, const FlightPicture& picture) {
    imu_since_tick_ = true;
    learn_ascent(sample, picture);
    return predictor_.advance(kBlocksPerSample, flying_);
}

std::optional<Prediction> PredictionRounds::tick(std::int64_t t_ns, const FlightPicture& picture,
                                                 const Navigation* navigation, WindProfile& wind) {
    follow_phase(t_ns, picture.phase.phase);
    learn_descent(t_ns, picture, navigation, wind);
    std::optional<Prediction> ended;
    if (!imu_since_tick_) ended = predictor_.advance(kBlocksPerTick, flying_);
    imu_since_tick_ = false;
    const double period_s = period_s_ * (phase_ == Phase::on_rail ? kRailPeriods : 1.0);
    const bool over = phase_ == Phase::down || phase_ == Phase::presumed_down;
    if (paused_ || predictor_.busy() || over || seconds_between(t_round_ns_, t_ns) < period_s - 0.05) return ended;
    // The pad reference is learnt in the first seconds; before the first pressure the day's air is the site file's.
    if (const auto from = start(t_ns, picture, navigation)) {
        t_round_ns_ = t_ns;
        predictor_.start(*from, fit_, wind, *picture.atmosphere);
        flying_ = fly_one_in_ != 0 && rounds_++ % fly_one_in_ == 0;
    }
    return ended;
}

void PredictionRounds::follow_phase(std::int64_t t_ns, Phase phase) {
    if (phase == phase_) return;
    if (phase == Phase::on_rail) fit_.reset();
    phase_ = phase;
    t_phase_ns_ = t_ns;
    t_round_ns_ = 0;
}

void PredictionRounds::learn_ascent(const ImuSample& sample, const FlightPicture& picture) {
    const bool burning = picture.phase.phase == Phase::under_thrust;
    if ((!burning && picture.phase.phase != Phase::coasting) || !picture.air) return;
    double speed_mps = picture.vertical.vertical_speed_mps;
    double sigma_mps = picture.vertical.vertical_speed_sigma_mps;
    double bias_mps2 = 0;
    if (const NavigationPicture& navigation = picture.navigation; navigation.moving) {
        speed_mps = picture.wind->against_air_mps(navigation.velocity_enu_mps, navigation.position_enu_m.z()).norm();
        sigma_mps = navigation.vertical_speed_sigma_mps;
        bias_mps2 = navigation.axial_bias_mps2;
    }
    const AirHeights& air = picture.air->heights;
    const double mach = speed_mps / air.speed_of_sound_mps;
    const double axial_mps2 = sample.accel_body_mps2.x() - bias_mps2;
    if (burning) {
        if (picture.phase.liftoff_ns)
            fit_.burning(axial_mps2, seconds_between(*picture.phase.liftoff_ns, sample.t_ns), speed_mps,
                         air.density_kg_m3, mach);
    } else if (seconds_between(picture.phase.began_ns, sample.t_ns) > kCoastSettle_s) {
        fit_.coasting(axial_mps2, speed_mps, sigma_mps, air.density_kg_m3, mach);
    }
}

void PredictionRounds::learn_descent(std::int64_t t_ns, const FlightPicture& picture, const Navigation* navigation,
                                     WindProfile& wind) {
    const bool hangs = phase_ == Phase::under_drogue || phase_ == Phase::under_main;
    if (!hangs || seconds_between(t_phase_ns_, t_ns) < kSettle_s || !picture.air) return;
    const VerticalEstimate& v = picture.vertical;
    if (v.valid)
        fit_.hanging(phase_ == Phase::under_main ? 1 : 0, -v.vertical_speed_mps, v.vertical_speed_sigma_mps,
                     picture.air->heights.density_kg_m3, gravity_mps2_);
    if (navigation == nullptr || !navigation->moving() || seconds_between(t_drift_ns_, t_ns) < kDrift_s) return;
    t_drift_ns_ = t_ns;
    const NavigationEstimate e = navigation->estimate();
    if (e.mode != NavigationMode::gnss_aided) return;
    const Vector2d drift_mps = e.velocity_enu_mps.head<2>();
    const double behind_m = e.velocity_enu_mps.z() * e.velocity_enu_mps.z() / gravity_mps2_;
    wind.measure(
        e.position_enu_m.z() + behind_m, drift_mps,
        std::hypot(kGustFloor_mps + kGustOfWind * drift_mps.norm(), e.velocity_sigma_mps.head<2>().maxCoeff()));
}

std::optional<PredictionStart> PredictionRounds::start(std::int64_t t_ns, const FlightPicture& picture,
                                                       const Navigation* navigation) const {
    PredictionStart from{};
    if (phase_ == Phase::on_rail) {
        from.t_ns = t_ns;
        from.phase = phase_;
        from.place_known = true;
        from.covariance = Eigen::Matrix<double, 6, 6>::Identity();
        return from;
    }
    if (navigation != nullptr && navigation->moving()) {
        const NavigationEstimate e = navigation->estimate();
        from.t_ns = e.t_ns;
        from.place_known = true;
        from.position_enu_m = e.position_enu_m;
        from.velocity_enu_mps = e.velocity_enu_mps;
        from.nose_enu = e.q_local_body * Vector3d::UnitX();
        from.covariance =
            navigation->covariance().topLeftCorner<6, 6>() + kVarianceFloor * Eigen::Matrix<double, 6, 6>::Identity();
    } else if (picture.vertical.valid) {
        from = start_from_vertical(picture.vertical);
    } else {
        return std::nullopt;
    }
    from.phase = phase_;
    from.covariance(2, 2) += kHeightFloor_m * kHeightFloor_m;
    if (picture.phase.liftoff_ns) from.since_ignition_s = seconds_between(*picture.phase.liftoff_ns, from.t_ns);
    const auto& parachutes = rocket_->parachutes;
    const double up_m = from.position_enu_m.z();
    const double down_mps = std::max(0.0, -from.velocity_enu_mps.z());
    if (picture.phase.apogee_ns && phase_ == Phase::falling && !parachutes.empty())
        from.first_stayed_shut =
            seconds_between(*picture.phase.apogee_ns, from.t_ns) > parachutes[0].opens_after_s + kSeenWithin_s;
    if ((phase_ == Phase::falling || phase_ == Phase::under_drogue) && parachutes.size() > 1)
        from.later_stayed_shut =
            up_m < parachutes[1].opens_below_m.value_or(0.0) - down_mps * (parachutes[1].opens_after_s + kSeenWithin_s);
    // Stale: the vehicle is silent, and an old prediction would look like a new one.
    return seconds_between(from.t_ns, t_ns) < kStale_s ? std::optional(from) : std::nullopt;
}

/// Straight up from the pad, leaning as the rail does.
PredictionStart PredictionRounds::start_from_vertical(const VerticalEstimate& v) const {
    PredictionStart from{};
    const double tilt_rad = radians(site_->launch_tilt_deg);
    const double azimuth_rad = radians(site_->launch_azimuth_deg.value_or(0));
    const double across_mps = v.vertical_speed_mps * std::tan(tilt_rad);
    from.t_ns = v.t_ns;
    from.place_known = false;
    from.position_enu_m = {0, 0, v.altitude_m};
    from.velocity_enu_mps = {across_mps * std::sin(azimuth_rad), across_mps * std::cos(azimuth_rad),
                             v.vertical_speed_mps};
    from.nose_enu = from.velocity_enu_mps.normalized();
    const double unknown_mps = std::max(1.0, 0.1 * std::abs(v.vertical_speed_mps));
    from.covariance = Eigen::Matrix<double, 6, 6>::Identity();
    from.covariance.diagonal() << 1, 1, v.altitude_sigma_m * v.altitude_sigma_m, unknown_mps * unknown_mps,
        unknown_mps * unknown_mps, v.vertical_speed_sigma_mps * v.vertical_speed_sigma_mps;
    from.covariance.diagonal().array() += kVarianceFloor;
    return from;
}

} // namespace turnstone::estimate
