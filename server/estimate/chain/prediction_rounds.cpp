#include "server/estimate/chain/prediction_rounds.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "server/estimate/math/angles.hpp"
#include "server/estimate/navigation/carried.hpp"
#include "shared/geodesy.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

constexpr double kRound_s = 0.35; // from a round's start to its last block
constexpr double kRailPeriods = 20;
constexpr double kDrift_s = 3.0;
constexpr double kDriftSure_mps = 2.0;
constexpr double kSettle_s = 4.0; // of a parachute, after its phase began
constexpr double kCoastSettle_s = 0.2;
constexpr double kStale_s = 3.0;
constexpr double kInertialSilent_s = 1.0; // navigation may be right still, but fixes go on
constexpr double kFresh_s = 0.1;          // with a round's time still shown within half a second
constexpr double kFade_s = 1.0;           // longer, and nobody knows what acceleration it has
constexpr double kHeightFloor_m = 0.2;    // apogee is where the vehicle's middle was
constexpr double kVarianceFloor = 1e-4;
/// Beyond these a state is not one of the flights whose air and wind are known, and to fly it says nothing.
constexpr double kHighest_m = (FlightConditions::kAirTable - 1) * FlightConditions::kAirStep_m;
constexpr double kFarthest_m = 2e5;
constexpr double kFastest_mps = 2000.0;
constexpr double kUnknown_m = 5000.0, kUnknown_mps = 500.0; // 1-sigma

/// The day's air stretches height and speed alike.
void add_air_scale(const DayAtmosphere& air, const VerticalEstimate& v, Eigen::Matrix<double, 6, 6>& covariance) {
    const double scale = air.scale_sigma(v.altitude_m);
    if (!std::isfinite(scale)) return;
    const Vector2d stretched(v.altitude_m, v.vertical_speed_mps);
    const Eigen::Matrix2d together = scale * scale * stretched * stretched.transpose();
    for (const int i : {0, 1})
        for (const int j : {0, 1}) covariance(2 + 3 * i, 2 + 3 * j) += together(i, j);
}

/// NaN is as good as unknown.
PredictionRefusal refusal_of(const PredictionStart& from) {
    const Eigen::Vector3d& p = from.position_enu_m;
    const Eigen::Matrix<double, 6, 1> variance = from.covariance.diagonal();
    if (std::abs(p.z()) >= kHighest_m) return PredictionRefusal::too_high;
    if (p.head<2>().norm() >= kFarthest_m) return PredictionRefusal::too_far;
    if (from.velocity_enu_mps.norm() >= kFastest_mps) return PredictionRefusal::too_fast;
    const bool known = p.allFinite() && from.velocity_enu_mps.allFinite() && variance(2) < kUnknown_m * kUnknown_m &&
                       (variance.tail<3>().array() < kUnknown_mps * kUnknown_mps).all();
    return known ? PredictionRefusal::none : PredictionRefusal::state_unknown;
}

} // namespace

PredictionRounds::PredictionRounds(const RocketModel& rocket, const Site& site)
    : rocket_(&rocket), site_(&site), gravity_mps2_(normal_gravity_mps2(site.pad.latitude_deg, site.pad.height_m)),
      fit_(rocket), predictor_(rocket, site) {}

std::optional<Prediction> PredictionRounds::imu(const ImuSample& sample, const FlightPicture& picture) {
    learn_ascent(sample, picture);
    return advance_to(sample.t_ns);
}

/// In even steps of time, whatever comes how often.
std::optional<Prediction> PredictionRounds::advance_to(std::int64_t t_ns) {
    const double part = std::clamp(seconds_between(t_round_ns_, t_ns) / kRound_s, 0.0, 1.0);
    const int due = static_cast<int>(std::ceil(part * Predictor::kSteps));
    if (due <= steps_due_) return std::nullopt;
    const int more = due - std::exchange(steps_due_, due);
    return predictor_.advance(more, flying_);
}

std::optional<Prediction> PredictionRounds::tick(std::int64_t t_ns, const FlightPicture& picture,
                                                 const Navigation* navigation, WindProfile& wind) {
    follow_phase(t_ns, picture.phase.phase);
    learn_descent(t_ns, picture, navigation, wind);
    std::optional<Prediction> ended = advance_to(t_ns);
    const double period_s = period_s_ * (phase_ == Phase::on_rail ? kRailPeriods : 1.0);
    const bool over = phase_ == Phase::down || phase_ == Phase::presumed_down;
    if (paused_ || predictor_.busy() || over || seconds_between(t_round_ns_, t_ns) < period_s - 0.05) return ended;
    // The pad reference is learnt in the first seconds; before the first pressure the day's air is the site file's.
    const auto from = start(t_ns, picture, navigation);
    if (from) asked_ = {refusal_of(*from), *from};
    if (from && asked_.refusal == PredictionRefusal::none) {
        t_round_ns_ = t_ns;
        steps_due_ = 0;
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
    way_left_.reset();
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
    if (!hangs) return;
    if (!way_left_) {
        const auto began = drift_of(picture, navigation);
        way_left_ = began ? wind.against_air_mps(began->velocity_mps, began->position_m.z()).head<2>().norm() : 0;
    }
    const double since_s = seconds_between(t_phase_ns_, t_ns);
    if (since_s < kSettle_s) return;
    const VerticalEstimate& v = picture.vertical;
    if (v.valid && picture.air && v.vertical_speed_mps < -kLies_mps)
        fit_.hanging(phase_ == Phase::under_main ? 1 : 0, -v.vertical_speed_mps, v.vertical_speed_sigma_mps,
                     picture.air->heights.density_kg_m3, gravity_mps2_);
    if (seconds_between(t_drift_ns_, t_ns) < kDrift_s) return;
    const auto drift = drift_of(picture, navigation);
    if (!drift || !(drift->sigma_mps < kDriftSure_mps) || !(drift->velocity_mps.z() < -kLies_mps)) return;
    t_drift_ns_ = t_ns;
    // Near its steady rate of descent v, what hangs loses its way through the air as exp(-g t / v), and the air that it
    // follows is that of v / g before.
    const double lag_s = std::abs(drift->velocity_mps.z()) / gravity_mps2_;
    const double behind_m = std::abs(drift->velocity_mps.z()) * lag_s;
    wind.measure(drift->position_m.z() + behind_m, drift->velocity_mps.head<2>(),
                 std::hypot(WindProfile::kSwing_mps, drift->sigma_mps, *way_left_ * std::exp(-since_s / lag_s)));
}

std::optional<PredictionRounds::Drift> PredictionRounds::drift_of(const FlightPicture& picture,
                                                                  const Navigation* navigation) {
    if (navigation != nullptr && navigation->moving()) {
        const NavigationEstimate e = navigation->estimate();
        if (e.mode != NavigationMode::gnss_aided) return std::nullopt;
        return Drift{e.position_enu_m, e.velocity_enu_mps, e.velocity_sigma_mps.head<2>().maxCoeff()};
    }
    if (!picture.translation.valid) return std::nullopt;
    const TranslationEstimate& e = picture.translation;
    return Drift{e.position_enu_m, e.velocity_enu_mps, e.velocity_sigma_mps().head<2>().maxCoeff()};
}

std::optional<PredictionStart> PredictionRounds::start(std::int64_t t_ns, const FlightPicture& picture,
                                                       const Navigation* navigation) const {
    PredictionStart from{};
    if (phase_ == Phase::on_rail) {
        from.t_ns = t_ns;
        from.phase = phase_;
        from.place_known = true;
        from.position_enu_m = from.velocity_enu_mps = Vector3d::Zero();
        from.covariance = Eigen::Matrix<double, 6, 6>::Identity();
        from.probability = case_probability(*rocket_, {});
        return from;
    }
    const bool has_attitude =
        navigation != nullptr && navigation->moving() && seconds_between(navigation->t_ns(), t_ns) < kInertialSilent_s;
    if (has_attitude) {
        const bool fresh = seconds_between(navigation->t_ns(), t_ns) < kFresh_s;
        const CarriedNavigation carried =
            carried_to(fresh ? navigation->t_ns() : t_ns, *navigation, picture.phase.motion);
        const NavigationEstimate& e = carried.estimate;
        from.t_ns = e.t_ns;
        from.place_known = true;
        from.position_enu_m = e.position_enu_m;
        from.velocity_enu_mps = e.velocity_enu_mps;
        from.nose_enu = e.q_local_body * Vector3d::UnitX();
        from.covariance = carried.covariance + kVarianceFloor * Eigen::Matrix<double, 6, 6>::Identity();
    } else if (picture.translation.valid && picture.translation.heard_within(kStale_s, t_ns)) {
        from = start_from_translation(picture);
    } else if (picture.vertical.valid && !picture.translation.valid) {
        const VerticalEstimate& v = picture.vertical;
        const double old_s = seconds_between(v.t_ns, t_ns);
        from = start_from_vertical(old_s < kFresh_s || old_s > kFade_s ? v : carried_to(t_ns, v), *picture.atmosphere);
    } else {
        return std::nullopt;
    }
    from.phase = phase_;
    from.covariance(2, 2) += kHeightFloor_m * kHeightFloor_m;
    if (picture.phase.liftoff_ns) from.since_ignition_s = seconds_between(*picture.phase.liftoff_ns, from.t_ns);
    const DescentSeen seen = descent_seen(from, picture);
    from.since_apogee_s = seen.since_apogee_s;
    from.probability = case_probability(*rocket_, seen);
    // Stale: the vehicle is silent, and an old prediction would look like a new one.
    return seconds_between(from.t_ns, t_ns) < kStale_s ? std::optional(from) : std::nullopt;
}

DescentSeen PredictionRounds::descent_seen(const PredictionStart& from, const FlightPicture& picture) const {
    DescentSeen seen{.phase = phase_, .gravity_mps2 = gravity_mps2_};
    if (picture.phase.apogee_ns) seen.since_apogee_s = seconds_between(*picture.phase.apogee_ns, from.t_ns);
    const double down_mps = -from.velocity_enu_mps.z();
    const auto& parachutes = rocket_->parachutes;
    if (parachutes.size() > 1 && parachutes[1].opens_below_m && down_mps > 1)
        seen.below_second_s = (*parachutes[1].opens_below_m - from.position_enu_m.z()) / down_mps;
    if (picture.air && seconds_between(t_phase_ns_, from.t_ns) > kSettle_s) {
        seen.descent_mps = std::max(0.0, down_mps);
        seen.density_kg_m3 = picture.air->heights.density_kg_m3;
    }
    return seen;
}

/// Up and down by the vertical filter, which has more to go by; across by fixes. The nose is where it goes.
PredictionStart PredictionRounds::start_from_translation(const FlightPicture& picture) const {
    const TranslationEstimate& e = picture.translation;
    PredictionStart from{};
    from.t_ns = e.t_ns;
    from.place_known = true;
    from.position_enu_m = e.position_enu_m;
    from.velocity_enu_mps = e.velocity_enu_mps;
    from.covariance = e.covariance.topLeftCorner<6, 6>();
    if (picture.vertical.valid && seconds_between(picture.vertical.t_ns, e.t_ns) < kStale_s) {
        const VerticalEstimate v = carried_to(e.t_ns, picture.vertical);
        from.position_enu_m.z() = v.altitude_m;
        from.velocity_enu_mps.z() = v.vertical_speed_mps;
        for (const int up : {2, 5}) {
            from.covariance.row(up).setZero();
            from.covariance.col(up).setZero();
        }
        from.covariance(2, 2) = v.altitude_sigma_m * v.altitude_sigma_m;
        from.covariance(5, 5) = v.vertical_speed_sigma_mps * v.vertical_speed_sigma_mps;
        add_air_scale(*picture.atmosphere, v, from.covariance);
    }
    const double speed_mps = from.velocity_enu_mps.norm();
    from.nose_enu = speed_mps > 1 ? Vector3d(from.velocity_enu_mps / speed_mps) : Vector3d(Vector3d::UnitZ());
    from.covariance += kVarianceFloor * Eigen::Matrix<double, 6, 6>::Identity();
    return from;
}

/// Straight up from the pad, leaning as the rail does.
PredictionStart PredictionRounds::start_from_vertical(const VerticalEstimate& v, const DayAtmosphere& air) const {
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
    add_air_scale(air, v, from.covariance);
    return from;
}

} // namespace turnstone::estimate
