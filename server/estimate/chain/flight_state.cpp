#include "server/estimate/chain/flight_state.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <string>

#include "server/estimate/chain/flight_state_tables.hpp"
#include "server/estimate/phases/climb_bend.hpp"
#include "shared/geodesy.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

/// Beyond these no barometer of a small vehicle works: 30 km and a deep valley on a stormy day.
constexpr double kPressureLowest_pa = 1000.0;
constexpr double kPressureHighest_pa = 120000.0;
constexpr double kFrozenPressure_s = 1.0;
constexpr double kFrozenAccel_s = 0.4;
/// A height left out by this much at once is a pressure pulse, not a motion.
constexpr double kPulse_m = 12.0;
constexpr double kInStep_s = 0.25;
/// Of the bend's place when the thrust table is known: ports that read low or high by 1.5 % move it.
constexpr double kBendSigma_s = 0.07;

double value_or_nan(const std::optional<std::int64_t>& from_ns, std::int64_t t_ns) {
    return from_ns ? seconds_between(*from_ns, t_ns) : kNaN;
}

PhaseSettings phase_settings(const Vehicle& vehicle, const Site& site) {
    PhaseSettings settings;
    settings.gravity_mps2 = normal_gravity_mps2(site.pad.latitude_deg, site.pad.height_m);
    settings.accel_noise_mps2 = vehicle.sensors.accel_noise_mps2;
    settings.accel_range_mps2 = vehicle.sensors.accel_range_mps2;
    if (!vehicle.rocket) return settings;
    settings.parachutes = static_cast<int>(vehicle.rocket->parachutes.size());
    if (const auto later_s = bend_to_burn_out_s(*vehicle.rocket)) {
        settings.bend_to_burn_out_s = *later_s;
        settings.bend_to_burn_out_sigma_s = kBendSigma_s;
    }
    return settings;
}

std::string number(double value, const char* format) {
    std::array<char, 32> text{};
    std::snprintf(text.data(), text.size(), format, value);
    return text.data();
}

/// How much faster than its vertical speed a vehicle may be: it leans, and the wind blows.
double unseen_speed_mps(double vertical_speed_mps, Motion motion) {
    if (motion == Motion::rest) return 0.0;
    const double sideways_mps = std::hypot(15.0, 0.15 * vertical_speed_mps);
    return std::hypot(vertical_speed_mps, sideways_mps) - std::fabs(vertical_speed_mps);
}

} // namespace

FlightState::FlightState(const Vehicle& vehicle, const Site& site, bool has_accelerometer, bool has_pressure,
                         std::vector<EstimateTable>& tables)
    : has_accelerometer_(has_accelerometer), has_pressure_(has_pressure),
      pressure_noise_pa_(std::max(0.1, vehicle.sensors.pressure_noise_pa)), pad_(site, vehicle.sensors),
      input_(vehicle.sensors, normal_gravity_mps2(site.pad.latitude_deg, site.pad.height_m)),
      filter_(VerticalSettings{.accel_bias_mps2 = vehicle.sensors.accel_bias_mps2,
                               .accel_bias_walk_mps2_rts = vehicle.sensors.accel_bias_walk_mps2_rts}),
      phases_(phase_settings(vehicle, site)), pulses_(vehicle.sensors.accel_noise_mps2, pressure_noise_pa_),
      barometer_{SensorWatch(kPressureLowest_pa, kPressureHighest_pa, kFrozenPressure_s), SensorState::unheard,
                 "static_pressure", "Barometer"},
      accelerometer_{
          SensorWatch(-1.1 * vehicle.sensors.accel_range_mps2, 1.1 * vehicle.sensors.accel_range_mps2, kFrozenAccel_s),
          SensorState::unheard, "accel_body_x", "Accelerometer"} {
    if (has_pressure_) {
        air_table_ = tables.size();
        tables.push_back(air_table());
    }
    vertical_table_ = tables.size();
    tables.push_back(vertical_table());
    phase_table_ = tables.size();
    tables.push_back(phase_table());
    derived_table_ = tables.size();
    tables.push_back(derived_table());
}

void FlightState::imu(const ImuSample& sample, const std::optional<TiltInput>& tilt, EstimateSink& sink) {
    const double axial = sample.accel_body_mps2.x();
    if (!std::isfinite(axial) || sample.t_ns <= t_imu_ns_) return;
    t_imu_ns_ = sample.t_ns;
    const bool usable = accelerometer_.watch.sample(sample.t_ns, axial);
    announce_sensor(accelerometer_, sample.t_ns, sink);
    if (!usable) return;
    phases_.imu(sample.t_ns, axial, sample.accel_body_mps2.norm(),
                std::hypot(sample.rate_body_rad_s.y(), sample.rate_body_rad_s.z()));
    derived_.imu(sample.t_ns, sample.accel_body_mps2.norm(), sample.rate_body_rad_s.x(), phases_);
    if (const auto shock = pulses_.force(sample.t_ns, sample.accel_body_mps2)) announce_shock(*shock, sink);
    const Motion motion = phases_.motion();
    filter_.set_motion(motion);
    if (!has_pressure_ && !filter_.estimate().valid) filter_.start(sample.t_ns, 0.0, 0.5, 0.0, 0.1);
    if (motion == Motion::descent && !tilt) {
        filter_.set_descent_agitation(input_.agitation_mps2(sample));
        filter_.accelerometer(sample.t_ns, 0.0, 1.0);
    } else if (const auto up = input_.acceleration(sample, tilt, motion)) {
        filter_.accelerometer(sample.t_ns, up->accel_up_mps2, up->sigma_mps2, up->force_mps2, up->share);
    }
    after_measurement(sample.t_ns, sink);
}

bool FlightState::pressure(const PressureSample& sample, double air_speed_mps, double air_speed_sigma_mps,
                           EstimateSink& sink) {
    if (!std::isfinite(sample.pressure_pa) || sample.t_ns <= t_pressure_ns_) return false;
    t_pressure_ns_ = sample.t_ns;
    const bool usable = barometer_.watch.sample(sample.t_ns, sample.pressure_pa);
    if (const auto blow = pulses_.pressure(sample.t_ns, sample.pressure_pa)) announce_blow(*blow, sink);
    announce_sensor(barometer_, sample.t_ns, sink);
    if (!usable) return false;
    if (pad_.pressure(sample.t_ns, sample.pressure_pa, sample.temperature_k, phases_.quiet()))
        filter_.start(sample.t_ns, 0.0, 1.0, 0.0, 0.1);
    const VerticalEstimate vertical = filter_.estimate();
    air_ = pad_.atmosphere().heights(sample.pressure_pa, pressure_noise_pa_);
    if (!std::isfinite(air_->above_pad_m)) return false;
    const bool speed_known = std::isfinite(air_speed_mps);
    const double speed_mps = speed_known ? air_speed_mps : std::fabs(vertical.vertical_speed_mps);
    const double speed_sigma_mps =
        speed_known ? air_speed_sigma_mps
                    : std::hypot(vertical.vertical_speed_sigma_mps, unseen_speed_mps(speed_mps, phases_.motion()));
    air_speed_ = vertical.valid || speed_known ? air_speeds(*air_, speed_mps, speed_sigma_mps)
                                               : AirSpeeds{kNaN, kNaN, kNaN, kNaN};
    derived_.air(sample.t_ns, *air_speed_, phases_);
    const double metres_per_pa = air_->above_pad_noise_m / pressure_noise_pa_;
    const double q_pa = std::isfinite(air_speed_->dynamic_pressure_pa) ? air_speed_->dynamic_pressure_pa : 0.0;
    const double sigma_m = std::hypot(air_->above_pad_noise_m, metres_per_pa * port_noise_pa(air_speed_->mach, q_pa));
    // What the port, the bay's lag and a charge do to the pressure shows as its distance from the filtered height.
    const double off_m = vertical.valid ? air_->above_pad_m - vertical.altitude_m : 0.0;
    const std::array<double, 12> row{air_->above_pad_m,
                                     std::hypot(air_->above_pad_sigma_m, sigma_m, off_m),
                                     air_->msl_m,
                                     air_->pressure_altitude_m,
                                     air_->temperature_k,
                                     air_->temperature_sigma_k,
                                     air_->density_kg_m3,
                                     air_->speed_of_sound_mps,
                                     air_speed_->mach,
                                     air_speed_->mach_sigma,
                                     air_speed_->dynamic_pressure_pa,
                                     air_speed_->dynamic_pressure_sigma_pa};
    sink.row(air_table_, sample.t_ns, row);

    filter_.height(sample.t_ns, air_->above_pad_m, sigma_m, metres_per_pa * q_pa,
                   vertical.valid ? vertical.vertical_speed_mps : 0.0);
    if (!stuck_announced_) phases_.height(sample.t_ns, air_->above_pad_m, sigma_m);
    after_measurement(sample.t_ns, sink);
    return true;
}

void FlightState::take_height_results(EstimateSink& sink) {
    for (const HeightResult& result : filter_.take_results()) {
        // A charge raises the pressure; after a gap in reception a large innovation is only the motion that was missed.
        const bool in_step = seconds_between(t_height_used_ns_, result.t_ns) < kInStep_s;
        if (result.verdict == HeightVerdict::gated && result.innovation_m < -kPulse_m && in_step)
            phases_.pulse(result.t_ns);
        if (result.verdict == HeightVerdict::used) t_height_used_ns_ = result.t_ns;
        if (result.stuck && !stuck_announced_) {
            stuck_announced_ = true;
            sink.event(
                {result.t_ns, 0.5, EventKind::alert_raised, Level::caution, "sensor/static_pressure/stuck",
                 "Barometer stands still while the accelerometer shows a climb: heights from pressure are not used"});
        } else if (result.verdict == HeightVerdict::used && stuck_announced_) {
            stuck_announced_ = false;
            sink.event({result.t_ns, 0.0, EventKind::alert_cleared, Level::note, "sensor/static_pressure/stuck",
                        "Barometer agrees with the accelerometer again"});
        }
        if (result.restarted && phase_known_ && phases_.phase() != Phase::on_pad) {
            sink.event({result.t_ns, 0.0, EventKind::flight_event, Level::advisory, "estimate/vertical/restarted",
                        "Vertical filter started anew from the barometer"});
        }
    }
}

void FlightState::after_measurement(std::int64_t t_ns, EstimateSink& sink) {
    take_height_results(sink);
    const VerticalEstimate estimate = filter_.estimate();
    if (estimate.valid && seconds_between(t_vertical_row_ns_, estimate.t_ns) >= kRowPeriod_s) {
        t_vertical_row_ns_ = estimate.t_ns;
        phases_.vertical(estimate);
        derived_.vertical(estimate, phases_);
        vertical_row(sink);
    }
    filter_.set_motion(phases_.motion());
    if (!phase_known_) {
        phase_known_ = true;
        sink.event(
            {t_ns, 0.0, EventKind::phase, Level::note, "phase/on_the_pad", std::string(phase_word(Phase::on_pad))});
        phase_row(t_ns, sink);
    }
    announce_moments(sink);
}

void FlightState::announce_moments(EstimateSink& sink) {
    if (phases_.found_count() == moments_announced_) return;
    const auto& moments = phases_.moments();
    const auto fresh = static_cast<std::size_t>(phases_.found_count() - moments_announced_);
    moments_announced_ = phases_.found_count();
    for (std::size_t i = moments.size() - std::min(fresh, moments.size()); i < moments.size(); ++i)
        announce_moment(moments[i], sink);
    phase_row(moments.back().t_found_ns, sink);
}

void FlightState::announce_moment(const FoundMoment& found, EstimateSink& sink) {
    std::string text(moment_text(found.moment));
    std::string data = "{\"found_after_s\":" + number(seconds_between(found.t_ns, found.t_found_ns), "%.3f");
    if (found.moment == Moment::contact_lost) {
        const PhaseDetector::LastSeen& seen = phases_.last_seen();
        text = "Contact lost " + number(seen.height_m, "%.0f") + " m above the pad at " +
               number(seen.speed_mps, "%+.0f") + " m/s up; " +
               (seen.near_ground ? "impact expected at this time" : "must be down by now, at an unknown moment");
        data += ",\"height_m\":" + number(seen.height_m, "%.1f") +
                ",\"height_sigma_m\":" + number(seen.height_sigma_m, "%.1f") +
                ",\"vertical_speed_mps\":" + number(seen.speed_mps, "%.2f") +
                ",\"vertical_speed_sigma_mps\":" + number(seen.speed_sigma_mps, "%.2f");
    }
    sink.event({found.t_ns, found.t_sigma_s, EventKind::flight_event, Level::note,
                "flight/" + std::string(moment_key(found.moment)), std::move(text), data + "}"});
    std::string key = "phase/" + std::string(phase_word(found.phase));
    for (char& c : key) c = c == ' ' ? '_' : c;
    sink.event({found.t_ns, found.t_sigma_s, EventKind::phase, Level::note, key, std::string(phase_word(found.phase))});
    if (found.moment == Moment::landing) stuck_announced_ = false;
    if (found.moment == Moment::lift_off || found.moment == Moment::withdrawn) derived_.begin_flight();
    if (found.moment == Moment::ready_again) filter_.reset(); // the axes point elsewhere than where it lay
}

void FlightState::announce_shock(const Pulse& pulse, EstimateSink& sink) {
    sink.event(
        {pulse.t_ns, pulse.resolution_s / std::sqrt(12.0), EventKind::flight_event, Level::note, "pulse/acceleration",
         "Shock of " + number(pulse.peak, "%.0f") + " m/s2 for " + number(1e3 * pulse.duration_s, "%.0f") + " ms",
         "{\"peak_mps2\":" + number(pulse.peak, "%.1f") + ",\"axial_peak_mps2\":" + number(pulse.axial_peak, "%.1f") +
             ",\"rise_s\":" + number(pulse.rise_s, "%.4f") + ",\"duration_s\":" + number(pulse.duration_s, "%.4f") +
             ",\"impulse_mps\":" + number(pulse.integral, "%.3f") +
             ",\"resolution_s\":" + number(pulse.resolution_s, "%.4f") + "}"});
}

void FlightState::announce_blow(const Pulse& pulse, EstimateSink& sink) {
    sink.event({pulse.t_ns, pulse.resolution_s / std::sqrt(12.0), EventKind::flight_event, Level::note,
                "pulse/pressure",
                "Pressure pulse of " + number(pulse.peak, "%+.0f") + " Pa for " +
                    number(1e3 * pulse.duration_s, "%.0f") + " ms",
                "{\"peak_pa\":" + number(pulse.peak, "%.0f") + ",\"rise_s\":" + number(pulse.rise_s, "%.4f") +
                    ",\"duration_s\":" + number(pulse.duration_s, "%.4f") + ",\"impulse_pa_s\":" +
                    number(pulse.integral, "%.2f") + ",\"resolution_s\":" + number(pulse.resolution_s, "%.4f") + "}"});
}

void FlightState::announce_sensor(Watched& sensor, std::int64_t t_ns, EstimateSink& sink) {
    const SensorState state = sensor.watch.state();
    if (state == sensor.announced) return;
    const std::string base = std::string("sensor/") + sensor.role + "/";
    const bool was_bad = sensor.announced != SensorState::good && sensor.announced != SensorState::unheard;
    if (was_bad) {
        sink.event({t_ns, 0.0, EventKind::alert_cleared, Level::note,
                    base + std::string(sensor_state_word(sensor.announced)),
                    std::string(sensor.name) + " works again"});
    }
    sensor.announced = state;
    const char* text = nullptr;
    if (state == SensorState::out_of_range) text = " shows values that cannot be: not used";
    if (state == SensorState::frozen) text = " repeats one value: not used";
    if (state == SensorState::silent) text = " sends nothing while other sensors do";
    if (text != nullptr) {
        sink.event({sensor.watch.since_ns(), 0.1, EventKind::alert_raised, Level::caution,
                    base + std::string(sensor_state_word(state)), std::string(sensor.name) + text});
    }
}

void FlightState::tick(std::int64_t t_ns, EstimateSink& sink) {
    if (has_pressure_) {
        barometer_.watch.tick(t_imu_ns_);
        announce_sensor(barometer_, t_ns, sink);
    }
    if (has_accelerometer_) {
        accelerometer_.watch.tick(barometer_.watch.last_ns());
        announce_sensor(accelerometer_, t_ns, sink);
    }
    filter_.advance(t_ns);
    phases_.tick(t_ns);
    if (!phase_known_) return;
    after_measurement(t_ns, sink);
    const double disagreement_pa = pad_.disagreement_pa();
    if (!disagreement_announced_ && std::fabs(disagreement_pa) > 400.0) {
        disagreement_announced_ = true;
        sink.event({t_ns, 0.0, EventKind::alert_raised, Level::advisory, "sensor/static_pressure/pad_pressure",
                    "Barometer differs from the site's pad pressure by " + number(disagreement_pa, "%.0f") +
                        " Pa: check the site file or the sensor"});
    }
    if (seconds_between(t_phase_row_ns_, t_ns) >= 1.0) phase_row(t_ns, sink);
}

VerticalEstimate FlightState::stated() const {
    VerticalEstimate e = filter_.estimate();
    if (!has_pressure_) return e;
    const DayAtmosphere& day = pad_.atmosphere();
    e.altitude_sigma_m = std::hypot(e.altitude_sigma_m, day.height_sigma_m(e.altitude_m));
    e.vertical_speed_sigma_mps =
        std::hypot(e.vertical_speed_sigma_mps, day.scale_sigma(e.altitude_m) * e.vertical_speed_mps);
    return e;
}

void FlightState::vertical_row(EstimateSink& sink) {
    const VerticalEstimate e = stated();
    const std::array<double, 12> row{e.altitude_m,
                                     e.altitude_sigma_m,
                                     e.vertical_speed_mps,
                                     e.vertical_speed_sigma_mps,
                                     e.acceleration_mps2,
                                     e.acceleration_sigma_mps2,
                                     e.accel_bias_mps2,
                                     e.accel_bias_sigma_mps2,
                                     e.inertial ? 1.0 : 0.0,
                                     e.nis,
                                     e.nis_mean,
                                     static_cast<double>(e.health)};
    sink.row(vertical_table_, e.t_ns, row);
}

void FlightState::phase_row(std::int64_t t_ns, EstimateSink& sink) {
    t_phase_row_ns_ = t_ns;
    const auto began = phases_.phase_began_ns();
    const std::array<double, 3> row{static_cast<double>(phases_.phase()),
                                    began == 0 ? kNaN : seconds_between(began, t_ns),
                                    value_or_nan(phases_.time_of(Moment::lift_off), t_ns)};
    sink.row(phase_table_, t_ns, row);
    sink.row(derived_table_, t_ns, derived_.row(t_ns, phases_));
}

} // namespace turnstone
