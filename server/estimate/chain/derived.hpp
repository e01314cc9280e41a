#pragma once
/// Figures from the other estimates: maxima of a flight with their times, burn and descent.
///
/// Maxima count from liftoff (back-dated) to touchdown; before liftoff they are NaN. Altitude, speed, Mach and dynamic
/// pressure are those of the estimates at the times of measurements: what is computed beyond the newest one is none.
/// Of two states the one counts whose value less its 1-sigma is the greater, so that an estimate which does not know
/// much cannot exceed one that does, and of two sources of altitude the better is taken. Acceleration is specific force
/// averaged over kForceMean_s (a shock of a millisecond is not a manoeuvre; shocks have events of their own), and so is
/// roll rate about the long axis; their 1-sigma is the sensor's bias and scale, as the vehicle file has them. Descent
/// rates are means from two seconds after a parachute came out. Between two flights of one recording the figures of the
/// first stay up until the second begins. All SI. NaN input is ignored. Deterministic.
#include <cstdint>
#include <optional>

#include "server/estimate/air/air_data.hpp"
#include "server/estimate/measurements.hpp"
#include "server/estimate/phases/phase_detector.hpp"
#include "server/estimate/table.hpp"
#include "server/estimate/vertical/vertical_filter.hpp"
#include "shared/vehicle.hpp"

namespace turnstone::estimate {

/// A maximum with its 1-sigma, and its time in seconds after liftoff. NaN: none yet.
struct Maximum {
    double value = kNaN;
    double sigma = kNaN;
    double t_s = kNaN;
};

struct DerivedFigures {
    Maximum altitude_m, vertical_speed_mps, mach, force_mps2, dynamic_pressure_pa, roll_rate_radps;
    double burn_time_s = kNaN;
    double speed_gained_mps = kNaN; ///< vertical speed at burnout
    double time_to_apogee_s = kNaN;
    double drogue_rate_mps = kNaN, main_rate_mps = kNaN; ///< down positive
    double flight_time_s = kNaN;                         ///< liftoff to touchdown, or to now
    double ground_distance_m = kNaN;                     ///< from the pad to the newest fix
};
[[nodiscard]] TableOf<DerivedFigures> derived_table();

class Derived {
  public:
    static constexpr double kForceMean_s = 0.05;

    explicit Derived(const SensorNoise& sensors) : sensors_(sensors) {}

    void imu(std::int64_t t_ns, double force_mps2, double roll_rate_radps, const PhaseDetector& phases);
    /// Of a time at which, or after which, something was measured.
    void vertical(const VerticalEstimate& estimate, const PhaseDetector& phases);
    /// Altitude AGL of a source beside the vertical filter, as of a measurement.
    void altitude(std::int64_t t_ns, double altitude_m, double sigma_m, const PhaseDetector& phases);
    void air(std::int64_t t_ns, const AirSpeeds& speeds, const PhaseDetector& phases);
    void ground_distance(double distance_m) noexcept { ground_distance_m_ = distance_m; }

    /// Forgets the flight before.
    void begin_flight();

    /// Greatest so far, and its 1-sigma; NaN before liftoff.
    [[nodiscard]] double altitude_m() const noexcept { return altitude_.value; }
    [[nodiscard]] double altitude_sigma_m() const noexcept { return altitude_.sigma; }

    /// As of `t_ns`, from one flight to the next.
    [[nodiscard]] DerivedFigures update(std::int64_t t_ns, const PhaseDetector& phases);

  private:
    struct Greatest {
        double value = kNaN, sigma = kNaN;
        std::int64_t t_ns = 0;
        void offer(double candidate, double its_sigma, std::int64_t t) noexcept;
    };
    struct Mean {
        double sum = 0;
        int count = 0;
        [[nodiscard]] double value() const noexcept { return count > 0 ? sum / count : kNaN; }
    };

    SensorNoise sensors_;
    Greatest altitude_, speed_, mach_, force_, dynamic_pressure_, roll_rate_;
    Mean drogue_rate_, main_rate_;
    double force_mean_ = kNaN;
    double roll_mean_ = 0;
    std::int64_t t_imu_ns_ = 0;
    double speed_at_burnout_mps_ = kNaN;
    double ground_distance_m_ = kNaN;
    std::optional<DerivedFigures> flown_; ///< newest figures of a flight
};

} // namespace turnstone::estimate
