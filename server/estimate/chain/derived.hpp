#pragma once
/// Figures from the other estimates: maxima of a flight with their times, burn and descent.
///
/// Maxima count from liftoff (back-dated) to touchdown; before liftoff they are NaN. Altitude, speed, Mach and dynamic
/// pressure are those of the estimates; acceleration is specific force averaged over kForceMean_s (a shock of a
/// millisecond is not a manoeuvre; shocks have events of their own), and so is roll rate about the long axis. Descent
/// rates are means from two seconds after a parachute came out. Between two flights of one recording the figures of the
/// first stay up until the second begins. All SI. NaN input is ignored. Deterministic.
#include <cstdint>
#include <optional>

#include "server/estimate/air/air_data.hpp"
#include "server/estimate/measurements.hpp"
#include "server/estimate/phases/phase_detector.hpp"
#include "server/estimate/table.hpp"
#include "server/estimate/vertical/vertical_filter.hpp"

namespace turnstone::estimate {

/// A maximum and its time in seconds after liftoff. NaN: none yet.
struct Maximum {
    double value = kNaN;
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

    void imu(std::int64_t t_ns, double force_mps2, double roll_rate_radps, const PhaseDetector& phases);
    void vertical(const VerticalEstimate& estimate, const PhaseDetector& phases);
    void air(std::int64_t t_ns, const AirSpeeds& speeds, const PhaseDetector& phases);
    void ground_distance(double distance_m) noexcept { ground_distance_m_ = distance_m; }

    /// Forgets the flight before.
    void begin_flight();

    /// As of `t_ns`, from one flight to the next.
    [[nodiscard]] DerivedFigures update(std::int64_t t_ns, const PhaseDetector& phases);

  private:
    struct Greatest {
        double value = kNaN;
        std::int64_t t_ns = 0;
        void offer(double candidate, std::int64_t t) noexcept;
    };
    struct Mean {
        double sum = 0;
        int count = 0;
        [[nodiscard]] double value() const noexcept { return count > 0 ? sum / count : kNaN; }
    };

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
