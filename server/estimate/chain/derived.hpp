#pragma once
/// What follows from the other estimates: greatest values of a flight with their times, burn and descent figures. Table
/// "derived".
///
/// Greatest values count from lift-off (back-dated) to landing; before lift-off they are NaN. Altitude, speed, Mach and
/// dynamic pressure are those of the estimates, acceleration is felt specific force averaged over kForceMean_s (a shock
/// of a millisecond is no manoeuvre; shocks have events of their own), roll rate about the long axis is averaged
/// likewise. Burn time is from lift-off to burn-out, velocity gained the vertical speed at burn-out, mean net
/// acceleration their ratio. Descent rates are means from two seconds after the deployment on. Ground distance is from
/// pad to newest satellite fix. Between two flights of one recording the figures of the first stay until the second
/// begins. All SI. NaN input is ignored. Deterministic.
#include <array>
#include <cstdint>
#include <limits>
#include <optional>

#include "server/estimate/air/air_data.hpp"
#include "server/estimate/phases/phase_detector.hpp"
#include "server/estimate/table.hpp"
#include "server/estimate/vertical/vertical_filter.hpp"

namespace turnstone {

[[nodiscard]] EstimateTable derived_table();

class Derived {
  public:
    static constexpr double kForceMean_s = 0.05;
    static constexpr std::size_t kColumns = 20;

    void imu(std::int64_t t_ns, double force_mps2, double roll_rate_rad_s, const PhaseDetector& phases);
    void vertical(const VerticalEstimate& estimate, const PhaseDetector& phases);
    void air(std::int64_t t_ns, const AirSpeeds& speeds, const PhaseDetector& phases);
    /// Horizontal distance from the pad to the newest fix.
    void ground_distance(double distance_m) noexcept { ground_distance_m_ = distance_m; }

    /// Forgets what belongs to the flight before.
    void begin_flight();

    /// In the order of derived_table().
    [[nodiscard]] std::array<double, kColumns> row(std::int64_t t_ns, const PhaseDetector& phases);

  private:
    struct Greatest {
        double value = std::numeric_limits<double>::quiet_NaN();
        std::int64_t t_ns = 0;
        void offer(double candidate, std::int64_t t) noexcept {
            if (candidate > value || (value != value && candidate == candidate)) {
                value = candidate;
                t_ns = t;
            }
        }
    };
    struct Mean {
        double sum = 0;
        int count = 0;
        [[nodiscard]] double value() const noexcept {
            return count > 0 ? sum / count : std::numeric_limits<double>::quiet_NaN();
        }
    };
    [[nodiscard]] static bool flying(const PhaseDetector& phases) noexcept;

    Greatest altitude_, speed_, mach_, force_, dynamic_pressure_, roll_rate_;
    Mean drogue_rate_, main_rate_;
    double force_mean_ = std::numeric_limits<double>::quiet_NaN();
    double roll_mean_ = 0;
    std::int64_t t_imu_ns_ = 0;
    double speed_at_burn_out_mps_ = std::numeric_limits<double>::quiet_NaN();
    double ground_distance_m_ = std::numeric_limits<double>::quiet_NaN();
    std::optional<std::array<double, kColumns>> flown_; ///< newest figures of a flight
};

} // namespace turnstone
