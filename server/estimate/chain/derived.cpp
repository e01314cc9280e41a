#include "server/estimate/chain/derived.hpp"

#include <cmath>

#include "shared/time.hpp"

namespace turnstone::estimate {

namespace {

constexpr double kStopped = 0.3; ///< of the mean rate
constexpr int kRateSettled = 50;
constexpr double kRateSettle_s = 2.0; ///< after a parachute is out

double seconds_or_nan(const std::optional<std::int64_t>& from, const std::optional<std::int64_t>& to) {
    return from && to ? seconds_between(*from, *to) : kNaN;
}

/// "<stem>_max<suffix>" with its 1-sigma, and "<stem>_max_t_s".
void add_maximum(TableOf<DerivedFigures>& table, const std::string& stem, const std::string& suffix,
                 const std::string& title, std::string unit, int decimals, Maximum DerivedFigures::*maximum) {
    table
        .add(
            {stem + "_max" + suffix, title, std::move(unit), "Maxima", decimals},
            [maximum](const DerivedFigures& f) { return (f.*maximum).value; })
        .sigma([maximum](const DerivedFigures& f) { return (f.*maximum).sigma; }, decimals);
    table.add({stem + "_max_t_s", title + ", time", "s", "", 2, "After liftoff"},
              [maximum](const DerivedFigures& f) { return (f.*maximum).t_s; });
}

} // namespace

TableOf<DerivedFigures> derived_table() {
    using S = const DerivedFigures&;
    constexpr const char* kGroup = "Flight figures";
    TableOf<DerivedFigures> table{"derived", "Maxima and figures of the flight", 1.0};
    using D = DerivedFigures;
    add_maximum(table, "altitude", "_m", "Maximum altitude AGL", "m", 1, &D::altitude_m);
    add_maximum(table, "vertical_speed", "_mps", "Maximum vertical speed", "m/s", 1, &D::vertical_speed_mps);
    add_maximum(table, "mach", "", "Maximum Mach number", "1", 2, &D::mach);
    add_maximum(table, "force", "_mps2", "Maximum acceleration", "m/s2", 1, &D::force_mps2);
    add_maximum(table, "dynamic_pressure", "_pa", "Maximum dynamic pressure", "Pa", 0, &D::dynamic_pressure_pa);
    add_maximum(table, "roll_rate", "_radps", "Maximum roll rate", "rad/s", 2, &D::roll_rate_radps);
    table.add({"burn_time_s", "Burn time", "s", kGroup, 2, "Liftoff to burnout"}, [](S f) { return f.burn_time_s; })
        .add({"speed_gained_mps", "Speed at burnout", "m/s", kGroup, 1, "Vertical"},
             [](S f) { return f.speed_gained_mps; })
        .add({"net_acceleration_mps2", "Mean net acceleration", "m/s2", kGroup, 1, "Speed gained over burn time"},
             [](S f) { return f.speed_gained_mps / f.burn_time_s; })
        .add({"time_to_apogee_s", "Time to apogee", "s", kGroup, 2, "From liftoff"},
             [](S f) { return f.time_to_apogee_s; })
        .add({"drogue_rate_mps", "Descent rate, drogue", "m/s", kGroup, 1, "Mean"},
             [](S f) { return f.drogue_rate_mps; })
        .add({"main_rate_mps", "Descent rate, main", "m/s", kGroup, 1, "Mean"}, [](S f) { return f.main_rate_mps; })
        .add({"flight_time_s", "Flight time", "s", kGroup, 1, "Liftoff to touchdown, or to now"},
             [](S f) { return f.flight_time_s; })
        .add({"ground_distance_m", "Distance from the pad", "m", kGroup, 0, "Horizontal, to the newest GNSS fix"},
             [](S f) { return f.ground_distance_m; });
    return table;
}

void Derived::Greatest::offer(double candidate, double its_sigma, std::int64_t t) noexcept {
    if (candidate - its_sigma > value - sigma || (std::isnan(value) && !std::isnan(candidate - its_sigma))) {
        value = candidate;
        sigma = its_sigma;
        t_ns = t;
    }
}

void Derived::imu(std::int64_t t_ns, double force_mps2, double roll_rate_radps, const PhaseDetector& phases) {
    const double dt_s = seconds_between(t_imu_ns_, t_ns);
    t_imu_ns_ = t_ns;
    // One-pole mean; restarts after a gap.
    const double weight = dt_s < 0.2 && std::isfinite(force_mean_) ? 1.0 - std::exp(-dt_s / kForceMean_s) : 1.0;
    if (std::isfinite(force_mps2))
        force_mean_ = weight < 1.0 ? force_mean_ + weight * (force_mps2 - force_mean_) : force_mps2;
    if (std::isfinite(roll_rate_radps)) roll_mean_ += weight * (roll_rate_radps - roll_mean_);
    if (phases.on_ground()) return;
    force_.offer(force_mean_, std::hypot(sensors_.accel_bias_mps2, sensors_.accel_scale * force_mean_), t_ns);
    if (std::isfinite(roll_rate_radps))
        roll_rate_.offer(std::fabs(roll_mean_), std::hypot(sensors_.gyro_bias_radps, sensors_.gyro_scale * roll_mean_),
                         t_ns);
}

void Derived::altitude(std::int64_t t_ns, double altitude_m, double sigma_m, const PhaseDetector& phases) {
    if (!phases.on_ground()) altitude_.offer(altitude_m, sigma_m, t_ns);
}

void Derived::vertical(const VerticalEstimate& estimate, const PhaseDetector& phases) {
    if (!estimate.valid || phases.on_ground()) return;
    altitude(estimate.t_ns, estimate.altitude_m, estimate.altitude_sigma_m, phases);
    speed_.offer(estimate.vertical_speed_mps, estimate.vertical_speed_sigma_mps, estimate.t_ns);
    const Phase phase = phases.phase();
    if (phase == Phase::under_thrust) {
        speed_at_burnout_mps_ = kNaN;
    } else if (!std::isfinite(speed_at_burnout_mps_) && phase == Phase::coasting) {
        // Burnout is recognised a little late: go back along the present acceleration.
        const auto burnout = phases.time_of(EventId::burnout);
        const double since_s = burnout ? seconds_between(*burnout, estimate.t_ns) : 0.0;
        speed_at_burnout_mps_ = estimate.vertical_speed_mps - estimate.acceleration_mps2 * since_s;
    }
    if (seconds_between(phases.phase_began_ns(), estimate.t_ns) < kRateSettle_s) return;
    Mean* mean = phase == Phase::under_drogue ? &drogue_rate_ : phase == Phase::under_main ? &main_rate_ : nullptr;
    // A vehicle that has all but stopped lies already, and has not been found to.
    const double usual_mps = mean != nullptr && mean->count > kRateSettled ? mean->value() : 0.0;
    const bool lies = usual_mps > 0.0 && -estimate.vertical_speed_mps < kStopped * usual_mps;
    if (mean != nullptr && !lies) {
        mean->sum -= estimate.vertical_speed_mps;
        ++mean->count;
    }
}

void Derived::air(std::int64_t t_ns, const AirSpeeds& speeds, const PhaseDetector& phases) {
    if (phases.on_ground()) return;
    if (std::isfinite(speeds.mach)) mach_.offer(speeds.mach, speeds.mach_sigma, t_ns);
    if (std::isfinite(speeds.dynamic_pressure_pa))
        dynamic_pressure_.offer(speeds.dynamic_pressure_pa, speeds.dynamic_pressure_sigma_pa, t_ns);
}

void Derived::begin_flight() {
    Derived fresh(sensors_);
    fresh.force_mean_ = force_mean_;
    fresh.roll_mean_ = roll_mean_;
    fresh.t_imu_ns_ = t_imu_ns_;
    fresh.ground_distance_m_ = ground_distance_m_;
    *this = fresh;
}

DerivedFigures Derived::update(std::int64_t t_ns, const PhaseDetector& phases) {
    const auto liftoff = phases.time_of(EventId::liftoff);
    if (!liftoff && flown_) {
        flown_->ground_distance_m = ground_distance_m_;
        return *flown_;
    }
    const auto maximum = [&](const Greatest& greatest) {
        return Maximum{greatest.value, greatest.sigma,
                       liftoff && std::isfinite(greatest.value) ? seconds_between(*liftoff, greatest.t_ns) : kNaN};
    };
    const bool presumed_down = phases.phase() == Phase::presumed_down;
    const std::int64_t end_ns =
        presumed_down ? phases.phase_began_ns() : phases.time_of(EventId::touchdown).value_or(t_ns);
    const DerivedFigures figures{.altitude_m = maximum(altitude_),
                                 .vertical_speed_mps = maximum(speed_),
                                 .mach = maximum(mach_),
                                 .force_mps2 = maximum(force_),
                                 .dynamic_pressure_pa = maximum(dynamic_pressure_),
                                 .roll_rate_radps = maximum(roll_rate_),
                                 .burn_time_s = seconds_or_nan(liftoff, phases.time_of(EventId::burnout)),
                                 .speed_gained_mps = speed_at_burnout_mps_,
                                 .time_to_apogee_s = seconds_or_nan(liftoff, phases.time_of(EventId::apogee)),
                                 .drogue_rate_mps = drogue_rate_.value(),
                                 .main_rate_mps = main_rate_.value(),
                                 .flight_time_s = liftoff ? seconds_between(*liftoff, end_ns) : kNaN,
                                 .ground_distance_m = ground_distance_m_};
    if (liftoff) flown_ = figures;
    return figures;
}

} // namespace turnstone::estimate
