#include "server/estimate/chain/derived.hpp"

#include <cmath>

#include "shared/time.hpp"

namespace turnstone {

namespace {

constexpr double kNan = std::numeric_limits<double>::quiet_NaN();
constexpr double kCanopySettle_s = 2.0;

double seconds_or_nan(const std::optional<std::int64_t>& from, const std::optional<std::int64_t>& to) {
    return from && to ? seconds_between(*from, *to) : kNan;
}

} // namespace

EstimateTable derived_table() {
    const auto greatest = [](const char* name, const char* what, const char* unit, int decimals) {
        return EstimateColumn{name, what, unit, "Greatest values", decimals};
    };
    const auto when = [](const char* name) { return EstimateColumn{name, "Seconds after lift-off", "s", "", 2}; };
    return {"derived",
            "Greatest values and figures of the flight",
            1.0,
            {greatest("altitude_max_m", "Greatest height above the pad", "m", 1),
             when("altitude_max_t_s"),
             greatest("vertical_speed_max_mps", "Greatest vertical speed", "m/s", 1),
             when("vertical_speed_max_t_s"),
             greatest("mach_max", "Greatest Mach number", "1", 2),
             when("mach_max_t_s"),
             greatest("force_max_mps2", "Greatest specific force, mean of 50 ms", "m/s2", 1),
             when("force_max_t_s"),
             greatest("dynamic_pressure_max_pa", "Greatest dynamic pressure", "Pa", 0),
             when("dynamic_pressure_max_t_s"),
             greatest("roll_rate_max_rad_s", "Greatest roll rate", "rad/s", 2),
             when("roll_rate_max_t_s"),
             {"burn_time_s", "Lift-off to burn-out", "s", "Flight figures", 2},
             {"speed_gained_mps", "Vertical speed at burn-out", "m/s", "Flight figures", 1},
             {"net_acceleration_mps2", "Speed gained over burn time", "m/s2", "Flight figures", 1},
             {"time_to_apogee_s", "Lift-off to apogee", "s", "Flight figures", 2},
             {"drogue_rate_mps", "Mean descent rate under the drogue", "m/s", "Flight figures", 1},
             {"main_rate_mps", "Mean descent rate under the main", "m/s", "Flight figures", 1},
             {"flight_time_s", "Lift-off to landing, or to now", "s", "Flight figures", 1},
             {"ground_distance_m", "From the pad to the newest fix", "m", "Flight figures", 0}}};
}

bool Derived::flying(const PhaseDetector& phases) noexcept {
    return !phases.on_ground();
}

void Derived::imu(std::int64_t t_ns, double force_mps2, double roll_rate_rad_s, const PhaseDetector& phases) {
    const double dt_s = seconds_between(t_imu_ns_, t_ns);
    t_imu_ns_ = t_ns;
    // One-pole mean; a gap begins it anew.
    const double share = dt_s < 0.2 && std::isfinite(force_mean_) ? 1.0 - std::exp(-dt_s / kForceMean_s) : 1.0;
    if (std::isfinite(force_mps2))
        force_mean_ = share < 1.0 ? force_mean_ + share * (force_mps2 - force_mean_) : force_mps2;
    if (std::isfinite(roll_rate_rad_s)) roll_mean_ += share * (roll_rate_rad_s - roll_mean_);
    if (!flying(phases)) return;
    force_.offer(force_mean_, t_ns);
    if (std::isfinite(roll_rate_rad_s)) roll_rate_.offer(std::fabs(roll_mean_), t_ns);
}

void Derived::vertical(const VerticalEstimate& estimate, const PhaseDetector& phases) {
    if (!estimate.valid || !flying(phases)) return;
    altitude_.offer(estimate.altitude_m, estimate.t_ns);
    speed_.offer(estimate.vertical_speed_mps, estimate.t_ns);
    const Phase phase = phases.phase();
    if (phase == Phase::powered_ascent) {
        speed_at_burn_out_mps_ = kNan;
    } else if (!std::isfinite(speed_at_burn_out_mps_) && phase == Phase::coast) {
        // Burn-out is recognised a little after it happened: back along the acceleration of now.
        const auto burn_out = phases.time_of(Moment::burn_out);
        const double since_s = burn_out ? seconds_between(*burn_out, estimate.t_ns) : 0.0;
        speed_at_burn_out_mps_ = estimate.vertical_speed_mps - estimate.acceleration_mps2 * since_s;
    }
    const double in_phase_s = seconds_between(phases.phase_began_ns(), estimate.t_ns);
    if (in_phase_s < kCanopySettle_s) return;
    Mean* mean = phase == Phase::drogue_descent ? &drogue_rate_ : phase == Phase::main_descent ? &main_rate_ : nullptr;
    if (mean != nullptr) {
        mean->sum -= estimate.vertical_speed_mps;
        ++mean->count;
    }
}

void Derived::air(std::int64_t t_ns, const AirSpeeds& speeds, const PhaseDetector& phases) {
    if (!flying(phases)) return;
    if (std::isfinite(speeds.mach)) mach_.offer(speeds.mach, t_ns);
    if (std::isfinite(speeds.dynamic_pressure_pa)) dynamic_pressure_.offer(speeds.dynamic_pressure_pa, t_ns);
}

void Derived::begin_flight() {
    Derived fresh;
    fresh.force_mean_ = force_mean_;
    fresh.roll_mean_ = roll_mean_;
    fresh.t_imu_ns_ = t_imu_ns_;
    fresh.ground_distance_m_ = ground_distance_m_;
    *this = fresh;
}

std::array<double, Derived::kColumns> Derived::row(std::int64_t t_ns, const PhaseDetector& phases) {
    const auto lift_off = phases.time_of(Moment::lift_off);
    if (!lift_off && flown_) {
        flown_->back() = ground_distance_m_;
        return *flown_;
    }
    const auto burn_out = phases.time_of(Moment::burn_out);
    const auto landing = phases.time_of(Moment::landing);
    const auto when = [&](const Greatest& greatest) {
        return lift_off && std::isfinite(greatest.value) ? seconds_between(*lift_off, greatest.t_ns) : kNan;
    };
    const double burn_s = seconds_or_nan(lift_off, burn_out);
    const std::int64_t end_ns =
        phases.phase() == Phase::presumed_down ? phases.phase_began_ns() : landing.value_or(t_ns);
    const double flight_s = lift_off ? seconds_between(*lift_off, end_ns) : kNan;
    const std::array<double, kColumns> row{altitude_.value,
                                           when(altitude_),
                                           speed_.value,
                                           when(speed_),
                                           mach_.value,
                                           when(mach_),
                                           force_.value,
                                           when(force_),
                                           dynamic_pressure_.value,
                                           when(dynamic_pressure_),
                                           roll_rate_.value,
                                           when(roll_rate_),
                                           burn_s,
                                           speed_at_burn_out_mps_,
                                           speed_at_burn_out_mps_ / burn_s,
                                           seconds_or_nan(lift_off, phases.time_of(Moment::apogee)),
                                           drogue_rate_.value(),
                                           main_rate_.value(),
                                           flight_s,
                                           ground_distance_m_};
    if (lift_off) flown_ = row;
    return row;
}

} // namespace turnstone
