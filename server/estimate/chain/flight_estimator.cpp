#include "server/estimate/chain/flight_estimator.hpp"

#include <algorithm>
#include <cmath>
#include <string>

#include "server/estimate/phases/climb_bend.hpp"
#include "shared/geodesy.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

namespace {

/// Beyond these no barometer of a small vehicle works: 30 km and a deep valley on a stormy day.
constexpr double kPressureLowest_pa = 1000.0;
constexpr double kPressureHighest_pa = 120000.0;
constexpr double kFrozenPressure_s = 1.0;
constexpr double kFrozenAccel_s = 0.4;
/// A height left out by this much at once is a pressure pulse, not a motion.
constexpr double kPulse_m = 12.0;
constexpr double kInStep_s = 0.25;
/// 1-sigma of the bend's time when the thrust table is known: ports that read low or high by 1.5 % move it.
constexpr double kBendSigma_s = 0.1;
constexpr double kPhasePeriod_s = 1.0;
constexpr double kPadDisagreement_pa = 400.0;
constexpr double kPressureGone_s = 2.5;
/// A fix on the pad; beyond, a vehicle that is first heard of is somewhere else.
constexpr double kAtPad_m = 150.0;
constexpr double kAtPadSpeed_mps = 2.0;
constexpr double kPadFixes_s = 10.0;
constexpr double kByHand_mps2 = 30.0; ///< a vehicle may be moved on its rail, whatever its motor
constexpr double kPadHeightDiffers_m = 15.0;

/// 1-sigma of a height at `t_ns`, judged by the filter, which knows more: port error, the lag of the bay, the day's air
/// and a charge show as a distance from what it says, and the rest is how sure it is.
double sigma_beside(const VerticalEstimate& filtered, std::int64_t t_ns, double height_m) {
    const double since_s = seconds_between(filtered.t_ns, t_ns);
    const double off_m = height_m - filtered.altitude_m - since_s * filtered.vertical_speed_mps -
                         0.5 * since_s * since_s * filtered.acceleration_mps2;
    return std::hypot(off_m, filtered.altitude_sigma_m, since_s * filtered.vertical_speed_sigma_mps);
}

PhaseSettings phase_settings(const Vehicle& vehicle, const Site& site) {
    PhaseSettings settings;
    settings.gravity_mps2 = normal_gravity_mps2(site.pad.latitude_deg, site.pad.height_m);
    settings.accel_noise_mps2 = vehicle.sensors.accel_noise_mps2;
    settings.accel_bias_mps2 = vehicle.sensors.accel_bias_mps2;
    if (!vehicle.rocket) return settings;
    settings.parachutes = static_cast<int>(vehicle.rocket->parachutes.size());
    if (const auto later_s = bend_to_burnout_s(*vehicle.rocket)) {
        settings.bend_to_burnout_s = *later_s;
        settings.bend_to_burnout_sigma_s = kBendSigma_s;
    }
    return settings;
}

VerticalSettings vertical_settings(const Vehicle& vehicle, double gravity_mps2) {
    const SensorNoise& sensors = vehicle.sensors;
    VerticalSettings settings;
    if (vehicle.rocket)
        settings.launch_mps2 = std::max(kByHand_mps2, vehicle.rocket->most_thrust_mps2() - gravity_mps2);
    settings.accel_bias_mps2 = sensors.accel_bias_mps2;
    settings.accel_bias_walk_mps2_rts = sensors.accel_bias_walk_mps2_rts;
    settings.port_sigma = sensors.port_coefficient_sigma;
    settings.delay_s = sensors.pressure_delay_s;
    settings.delay_sigma_s = kPressureDelayDoubt * sensors.pressure_delay_sigma_s;
    settings.fix_correlation_s = sensors.fix_correlation_s;
    settings.fix_correlated_share = sensors.fix_correlated_share;
    settings.fix_delay_s = sensors.fix_delay_s;
    settings.fix_delay_sigma_s = kFixDelayDoubt * sensors.fix_delay_sigma_s;
    settings.pad_datum_sigma_m = sensors.pad_datum_sigma_m;
    return settings;
}

/// How much faster than its vertical speed a vehicle may be against the air, since it leans and the wind blows. Under
/// a parachute it loses its own way as exp(-g t / v) and goes with the wind, but for gusts and what it leans as it
/// swings. `hangs_s`: since that opened; NaN: none.
double unseen_speed_mps(double vertical_speed_mps, Motion motion, double hangs_s, const WindProfile& wind) {
    constexpr double kSwings = 0.3; // of its speed sideways; common practice, no source
    if (motion == Motion::rest || (std::isfinite(hangs_s) && vertical_speed_mps < kLies_mps))
        return std::hypot(wind.at(0).norm(), wind.sigma_mps(0));
    const auto faster_mps = [&](double sideways_mps) {
        return std::hypot(vertical_speed_mps, sideways_mps) - vertical_speed_mps;
    };
    const double way_mps = std::hypot(16.5, 0.15 * vertical_speed_mps);
    if (!std::isfinite(hangs_s)) return faster_mps(way_mps);
    const double left_mps = way_mps * std::exp(-std::max(0.0, hangs_s) * kGravityStandard_mps2 / vertical_speed_mps);
    return std::hypot(wind.gust_up_mps(), faster_mps(std::hypot(kSwings * vertical_speed_mps, left_mps)));
}

/// By how much it changes between the time of a speed and that of a pressure, 1-sigma.
double unseen_acceleration_mps2(Motion motion) {
    constexpr double kThrust_mps2 = 60.0, kDrag_mps2 = 15.0;
    return motion == Motion::rest || motion == Motion::boost ? kThrust_mps2 : kDrag_mps2;
}

EstimateEvent shock_event(const Pulse& pulse) {
    return {.id = EventId::shock,
            .t_ns = pulse.t_ns,
            .t_sigma_s = pulse.resolution_s / std::sqrt(12.0),
            .values = {{"peak_mps2", pulse.peak},
                       {"axial_peak_mps2", pulse.axial_peak},
                       {"rise_s", pulse.rise_s},
                       {"duration_s", pulse.duration_s},
                       {"impulse_mps", pulse.integral},
                       {"resolution_s", pulse.resolution_s}}};
}

EstimateEvent pressure_pulse_event(const Pulse& pulse) {
    return {.id = EventId::pressure_pulse,
            .t_ns = pulse.t_ns,
            .t_sigma_s = pulse.resolution_s / std::sqrt(12.0),
            .values = {{"peak_pa", pulse.peak},
                       {"rise_s", pulse.rise_s},
                       {"duration_s", pulse.duration_s},
                       {"impulse_pa_s", pulse.integral},
                       {"resolution_s", pulse.resolution_s}}};
}

std::optional<EventId> fault_event(SensorState state) {
    switch (state) {
    case SensorState::out_of_range: return EventId::sensor_out_of_range;
    case SensorState::frozen: return EventId::sensor_frozen;
    case SensorState::silent: return EventId::sensor_silent;
    case SensorState::at_range: return EventId::sensor_at_range;
    case SensorState::unheard:
    case SensorState::good: break;
    }
    return std::nullopt;
}

EstimateEvent phase_event(Phase phase, std::int64_t t_ns, double t_sigma_s) {
    return {.id = EventId::phase_began,
            .t_ns = t_ns,
            .t_sigma_s = t_sigma_s,
            .about = std::string(phase_key(phase)),
            .values = {{"phase", std::string(word(phase))}}};
}

} // namespace

FlightEstimator::FlightEstimator(const Vehicle& vehicle, const Site& site, bool has_accelerometer, bool has_pressure)
    : sensors_(vehicle.sensors), frame_(site.pad), has_accelerometer_(has_accelerometer), has_pressure_(has_pressure),
      pressure_noise_pa_(std::max(0.1, vehicle.sensors.pressure_noise_pa)), pad_(site, vehicle.sensors),
      input_(vehicle.sensors, normal_gravity_mps2(site.pad.latitude_deg, site.pad.height_m)),
      filter_(vertical_settings(vehicle, normal_gravity_mps2(site.pad.latitude_deg, site.pad.height_m))),
      phases_(phase_settings(vehicle, site)), pulses_(vehicle.sensors.accel_noise_mps2, pressure_noise_pa_),
      derived_(vehicle.sensors), barometer_{SensorWatch(kPressureLowest_pa, kPressureHighest_pa, kFrozenPressure_s),
                                            "static_pressure"},
      accelerometer_{SensorWatch(-1.1 * vehicle.sensors.accel_range_mps2, 1.1 * vehicle.sensors.accel_range_mps2,
                                 kFrozenAccel_s, vehicle.sensors.accel_range_mps2),
                     "accel_body_x"} {}

FlightEstimator::News FlightEstimator::imu(const ImuSample& sample, FlightPicture& picture, EventSink& events) {
    News news;
    const double axial_mps2 = sample.accel_body_mps2.x();
    if (!std::isfinite(axial_mps2) || sample.t_ns <= t_imu_ns_) return news;
    t_imu_ns_ = sample.t_ns;
    const bool usable = accelerometer_.watch.sample(sample.t_ns, axial_mps2);
    announce(accelerometer_, sample.t_ns, events);
    input_.set_accel_range(accel_range_mps2());
    if (!usable) return news;
    const double force_mps2 = sample.accel_body_mps2.norm();
    phases_.imu(
        {sample.t_ns, axial_mps2, force_mps2, std::hypot(sample.rate_body_radps.y(), sample.rate_body_radps.z())});
    derived_.imu(sample.t_ns, force_mps2, sample.rate_body_radps.x(), phases_);
    if (const auto shock = pulses_.force(sample.t_ns, sample.accel_body_mps2)) events.event(shock_event(*shock));
    accelerate(sample, picture.navigation.tilt);
    after_measurement(sample.t_ns, news, picture, events);
    update_figures(news, picture);
    return news;
}

void FlightEstimator::accelerate(const ImuSample& sample, const std::optional<TiltInput>& tilt) {
    const Motion motion = phases_.motion();
    filter_.set_motion(motion);
    if (!has_pressure_ && !filter_.estimate().valid) filter_.start_on_rail(sample.t_ns, 0.5);
    if (motion == Motion::descent && !tilt) {
        filter_.set_descent_agitation(input_.agitation_mps2(sample));
        filter_.jolt(input_.jolt_mps(sample));
        filter_.accelerometer(sample.t_ns, 0.0, 1.0);
    } else if (const auto up = input_.acceleration(sample, tilt, motion)) {
        filter_.set_bias_walk(up->bias_walk_mps2_rts);
        if (up->clipped)
            filter_.clipped(sample.t_ns, up->accel_up_mps2, up->sigma_mps2);
        else
            filter_.accelerometer(sample.t_ns, up->accel_up_mps2, up->sigma_mps2, up->force_mps2, up->fraction,
                                  up->bias_share);
    }
}

FlightEstimator::News FlightEstimator::pressure(const PressureSample& sample, FlightPicture& picture,
                                                EventSink& events) {
    News news;
    if (!std::isfinite(sample.pressure_pa) || sample.t_ns <= t_pressure_ns_) return news;
    t_pressure_ns_ = sample.t_ns;
    const bool usable = barometer_.watch.sample(sample.t_ns, sample.pressure_pa);
    if (const auto pulse = pulses_.pressure(sample.t_ns, sample.pressure_pa))
        events.event(pressure_pulse_event(*pulse));
    announce(barometer_, sample.t_ns, events);
    if (!usable) return news;
    if (pad_.pressure(sample.t_ns, sample.pressure_pa, sample.temperature_k, phases_.quiet()))
        filter_.start_on_rail(sample.t_ns, 1.0);
    filter_.set_reference_sigma(pad_.atmosphere().reference_sigma_m());
    AirHeights heights = pad_.atmosphere().heights(sample.pressure_pa, pressure_noise_pa_);
    if (!std::isfinite(heights.above_pad_m)) return news;

    const VerticalEstimate vertical = filter_.estimate();
    // What the day may be off by grows with height. Taken at the measured height, it would make a filter believe low
    // readings more than high ones, and its speed would be off one way.
    const double at_m = vertical.valid ? vertical.altitude_m : heights.geopotential_above_pad_m;
    heights.above_pad_slow_m = pad_.atmosphere().height_sigma_m(at_m);
    AirSpeeds speeds = speeds_of(sample.t_ns, heights, vertical, picture);
    const double metres_per_pa = heights.above_pad_noise_m / pressure_noise_pa_;
    const double q_pa = std::isfinite(speeds.dynamic_pressure_pa) ? speeds.dynamic_pressure_pa : 0.0;
    const double port_noise_m = metres_per_pa * port_noise_pa(speeds.mach, q_pa);
    const double sigma_m = std::hypot(heights.above_pad_noise_m, port_noise_m);
    const double pa_per_m2ps2 = 0.5 * heights.density_kg_m3;
    const double up_mps = vertical.valid ? vertical.vertical_speed_mps : 0.0;
    filter_.height(sample.t_ns, heights.above_pad_m, sigma_m,
                   {.m_per_m2ps2 = metres_per_pa * pa_per_m2ps2,
                    .across_m2ps2 = std::max(0.0, q_pa / pa_per_m2ps2 - up_mps * up_mps),
                    .up_mps = up_mps},
                   pad_.atmosphere().profile_sigma_m(at_m));
    if (!stuck_announced_) phases_.height({sample.t_ns, heights.above_pad_m, sigma_m});
    // Where heights are few, this one tells more of the speed than all before it.
    const VerticalEstimate now = filter_.estimate();
    speeds = speeds_of(sample.t_ns, heights, now, picture);
    derived_.air(sample.t_ns, speeds, phases_);
    picture.air = AirPicture{sample.t_ns, heights, speeds,
                             now.valid ? sigma_beside(now, sample.t_ns, heights.above_pad_m)
                                       : std::hypot(heights.above_pad_sigma_m, port_noise_m)};
    news.air = true;
    after_measurement(sample.t_ns, news, picture, events);
    update_figures(news, picture);
    return news;
}

bool FlightEstimator::heights_by_pressure(std::int64_t t_ns) const noexcept {
    if (!has_pressure_ || stuck_announced_ || t_pressure_ns_ == 0) return false;
    const SensorState state = barometer_.watch.state();
    return state == SensorState::good && seconds_between(t_pressure_ns_, t_ns) < kPressureGone_s;
}

FlightEstimator::News FlightEstimator::fix(const FixSample& sample, FlightPicture& picture, EventSink& events) {
    News news;
    if (sample.fix_dimensions < 2 || sample.t_ns <= t_fix_ns_ || !std::isfinite(sample.latitude_deg) ||
        !std::isfinite(sample.longitude_deg))
        return news;
    t_fix_ns_ = sample.t_ns;
    const auto or_else = [](double told, double otherwise) {
        return std::isfinite(told) && told > 0.0 ? told : otherwise;
    };
    const double pad_height_m = frame_.origin().height_m;
    const Eigen::Vector3d enu_m = frame_.to_enu_m({sample.latitude_deg, sample.longitude_deg, pad_height_m});
    const double across_sigma_m = or_else(sample.accuracy_horizontal_m, sensors_.fix_horizontal_m);
    const double speed_sigma_mps = std::max(or_else(sample.speed_accuracy_mps, 0.0), sensors_.fix_speed_mps);
    // Some receivers give a speed over ground alone.
    const Eigen::Vector3d& v = sample.velocity_enu_mps;
    const double speed_mps = std::isfinite(v.z()) ? v.norm() : v.head<2>().norm();
    phases_.fix({sample.t_ns, enu_m.x(), enu_m.y(), across_sigma_m, speed_mps, speed_sigma_mps});
    derived_.ground_distance(enu_m.head<2>().norm());
    if (picture.translation.valid && sample.fix_dimensions >= 3)
        derived_.altitude(picture.translation.t_ns, picture.translation.position_enu_m.z(),
                          picture.translation.position_sigma_m().z(), phases_);
    if (sample.fix_dimensions >= 3 && std::isfinite(sample.height_ellipsoid_m)) {
        const VerticalFix fix{.t_ns = sample.t_ns,
                              .t_valid_ns = sample.t_valid_ns,
                              .height_m = sample.height_ellipsoid_m - pad_height_m,
                              .height_sigma_m = or_else(sample.accuracy_vertical_m, sensors_.fix_vertical_m),
                              .speed_mps = sample.velocity_enu_mps.z(),
                              .speed_sigma_mps = std::sqrt(picture.fix_scatter.speed) * speed_sigma_mps,
                              .scatter = picture.fix_scatter.position};
        const bool slow = !(std::fabs(fix.speed_mps) > kAtPadSpeed_mps);
        const bool near = enu_m.head<2>().norm() < kAtPad_m + 3.0 * across_sigma_m &&
                          std::fabs(fix.height_m) < 3.0 * std::hypot(sensors_.pad_datum_sigma_m, fix.height_sigma_m);
        // Heights begin at the pad, whatever the fixes' datum.
        if (!filter_.estimate().valid && !has_pressure_ && slow && near) filter_.start_on_rail(sample.t_ns, 0.5);
        filter_.set_motion(phases_.motion());
        filter_.fix(fix);
        if (!heights_by_pressure(sample.t_ns)) {
            const std::int64_t valid_ns = sample.t_ns - seconds_to_ns(sensors_.fix_delay_s);
            phases_.height({valid_ns, fix.height_m - filter_.estimate().fix_offset_m, fix.height_sigma_m, true});
        }
        look_at_pad_height(sample.t_ns, events);
    }
    after_measurement(sample.t_ns, news, picture, events);
    update_figures(news, picture);
    return news;
}

/// A height above the ellipsoid taken for one above sea level shows on the pad.
void FlightEstimator::look_at_pad_height(std::int64_t t_ns, EventSink& events) {
    if (!phases_.quiet()) {
        t_pad_fixes_ns_ = 0;
        return;
    }
    if (t_pad_fixes_ns_ == 0) t_pad_fixes_ns_ = t_ns;
    if (pad_height_announced_ || seconds_between(t_pad_fixes_ns_, t_ns) < kPadFixes_s) return;
    const VerticalEstimate vertical = filter_.estimate();
    const double offset_m = vertical.fix_offset_m;
    if (std::fabs(offset_m) < kPadHeightDiffers_m || std::fabs(offset_m) < 3.0 * vertical.fix_offset_sigma_m) return;
    pad_height_announced_ = true;
    events.event({.id = EventId::pad_height_differs, .t_ns = t_ns, .values = {{"difference_m", offset_m}}});
}

AirSpeeds FlightEstimator::speeds_of(std::int64_t t_ns, const AirHeights& heights, const VerticalEstimate& vertical,
                                     const FlightPicture& picture) const {
    const AirSpeed& against_air = picture.air_speed;
    const Motion motion = phases_.motion();
    const auto since_mps = [&](std::int64_t then_ns) {
        return std::fabs(seconds_between(then_ns, t_ns)) * unseen_acceleration_mps2(motion);
    };
    if (std::isfinite(against_air.speed_mps))
        return air_speeds(heights, against_air.speed_mps,
                          std::hypot(against_air.sigma_mps, since_mps(against_air.t_ns)));
    if (!vertical.valid) return {kNaN, kNaN, kNaN, kNaN};
    const double speed_mps = std::fabs(vertical.vertical_speed_mps);
    const bool hangs = phases_.phase() == Phase::under_drogue || phases_.phase() == Phase::under_main;
    const double hangs_s = hangs ? seconds_between(phases_.phase_began_ns(), t_ns) : kNaN;
    return air_speeds(heights, speed_mps,
                      std::hypot(vertical.vertical_speed_sigma_mps,
                                 unseen_speed_mps(speed_mps, motion, hangs_s, *picture.wind),
                                 since_mps(vertical.t_ns)));
}

FlightEstimator::News FlightEstimator::tick(std::int64_t t_ns, FlightPicture& picture, EventSink& events) {
    News news;
    if (has_pressure_) {
        barometer_.watch.tick(t_imu_ns_);
        announce(barometer_, t_ns, events);
    }
    if (has_accelerometer_) {
        accelerometer_.watch.tick(barometer_.watch.last_ns());
        announce(accelerometer_, t_ns, events);
    }
    filter_.advance(t_ns);
    phases_.tick(t_ns);
    if (!phase_known_) return news;
    after_measurement(t_ns, news, picture, events);
    const double disagreement_pa = pad_.disagreement_pa();
    if (!disagreement_announced_ && std::fabs(disagreement_pa) > kPadDisagreement_pa) {
        disagreement_announced_ = true;
        events.event(
            {.id = EventId::pad_pressure_differs, .t_ns = t_ns, .values = {{"difference_pa", disagreement_pa}}});
    }
    if (!news.phase_ns && seconds_between(t_phase_ns_, t_ns) >= kPhasePeriod_s) news.phase_ns = t_phase_ns_ = t_ns;
    update_figures(news, picture);
    return news;
}

void FlightEstimator::update_figures(const News& news, FlightPicture& picture) {
    if (news.phase_ns) picture.figures = derived_.update(*news.phase_ns, phases_);
}

void FlightEstimator::after_measurement(std::int64_t t_ns, News& news, FlightPicture& picture, EventSink& events) {
    take_height_results(events);
    picture.vertical = filter_.estimate();
    const std::int64_t t_state_ns = picture.vertical.t_ns;
    const bool measured = t_state_ns <= std::max({t_imu_ns_, t_pressure_ns_, t_fix_ns_});
    // What comes late still counts for figures, though states beyond it have been shown.
    if (picture.vertical.valid && measured && seconds_between(t_figures_ns_, t_state_ns) >= kVerticalPeriod_s) {
        t_figures_ns_ = t_state_ns;
        derived_.vertical(picture.vertical, phases_);
    }
    if (picture.vertical.valid && seconds_between(t_vertical_ns_, t_state_ns) >= kVerticalPeriod_s) {
        t_vertical_ns_ = t_state_ns;
        phases_.vertical(picture.vertical);
        news.vertical = picture.vertical;
    }
    const bool other_motion = filter_.motion() != phases_.motion();
    filter_.set_motion(phases_.motion());
    if (!phase_known_) {
        phase_known_ = true;
        events.event(phase_event(Phase::on_rail, t_ns, 0.0));
        news.phase_ns = t_phase_ns_ = t_ns;
    }
    const bool restarted = announce_transitions(news, events);
    if (other_motion || restarted) picture.vertical = filter_.estimate();
    picture.phase = {.phase = phases_.phase(),
                     .motion = phases_.motion(),
                     .began_ns = phases_.phase_began_ns(),
                     .liftoff_ns = phases_.time_of(EventId::liftoff),
                     .apogee_ns = phases_.time_of(EventId::apogee)};
}

void FlightEstimator::take_height_results(EventSink& events) {
    for (const HeightResult& result : filter_.take_results()) {
        // A charge raises the pressure. After a gap in reception a large innovation is only the motion that was missed.
        const bool in_step = seconds_between(t_height_used_ns_, result.t_ns) < kInStep_s;
        const bool used = result.verdict == HeightVerdict::used;
        if (result.verdict == HeightVerdict::gated && result.innovation_m < -kPulse_m && in_step)
            phases_.pulse(result.t_ns);
        if (used) t_height_used_ns_ = result.t_ns;
        if (result.stuck && !stuck_announced_) {
            stuck_announced_ = true;
            events.event({.id = EventId::barometer_stuck, .t_ns = result.t_ns, .t_sigma_s = 0.5});
        } else if (used && stuck_announced_) {
            stuck_announced_ = false;
            events.event({.id = EventId::barometer_stuck, .t_ns = result.t_ns, .cleared = true});
        }
        if (result.restarted && phase_known_ && phases_.phase() != Phase::on_rail)
            events.event({.id = EventId::vertical_restarted, .t_ns = result.t_ns});
    }
}

bool FlightEstimator::announce_transitions(News& news, EventSink& events) {
    if (phases_.found_count() == transitions_announced_) return false;
    const auto& found = phases_.transitions();
    const auto fresh = static_cast<std::size_t>(phases_.found_count() - transitions_announced_);
    transitions_announced_ = phases_.found_count();
    bool restarts = false;
    for (std::size_t i = found.size() - std::min(fresh, found.size()); i < found.size(); ++i) {
        announce(found[i], events);
        restarts |= found[i].event == EventId::ready_again;
    }
    // The axes point elsewhere than where it lay.
    if (restarts && phases_.phase() == Phase::on_rail) filter_.reset();
    news.phase_ns = t_phase_ns_ = found.back().t_found_ns;
    return restarts;
}

void FlightEstimator::announce(const Transition& found, EventSink& events) {
    EstimateEvent event{.id = found.event,
                        .t_ns = found.t_ns,
                        .t_sigma_s = found.t_sigma_s,
                        .values = {{"found_after_s", seconds_between(found.t_ns, found.t_found_ns)}}};
    if (found.event == EventId::apogee)
        event.values.insert(event.values.end(),
                            {{"altitude_m", derived_.altitude_m()}, {"altitude_sigma_m", derived_.altitude_sigma_m()}});
    if (found.event == EventId::signal_lost) {
        const LastSeen& seen = phases_.last_seen();
        event.values.insert(event.values.end(), {{"height_m", seen.height_m},
                                                 {"height_sigma_m", seen.height_sigma_m},
                                                 {"vertical_speed_mps", seen.speed_mps},
                                                 {"vertical_speed_sigma_mps", seen.speed_sigma_mps},
                                                 {"near_ground", seen.near_ground}});
    }
    events.event(std::move(event));
    events.event(phase_event(found.phase, found.t_ns, found.t_sigma_s));
    if (found.event == EventId::touchdown) stuck_announced_ = false;
    if (found.event == EventId::liftoff || found.event == EventId::false_liftoff) derived_.begin_flight();
}

void FlightEstimator::announce(Watched& sensor, std::int64_t t_ns, EventSink& events) {
    const SensorState state = sensor.watch.state();
    if (state == sensor.announced) return;
    if (const auto fault = fault_event(sensor.announced))
        events.event({.id = *fault, .t_ns = t_ns, .about = sensor.role, .cleared = true});
    sensor.announced = state;
    if (const auto fault = fault_event(state))
        events.event({.id = *fault, .t_ns = sensor.watch.since_ns(), .t_sigma_s = 0.1, .about = sensor.role});
}

} // namespace turnstone::estimate
