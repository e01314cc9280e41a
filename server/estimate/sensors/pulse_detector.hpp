#pragma once
/// Short pulses in acceleration and pressure: separation shocks, ejection charges, landing impact. For tethered ground
/// tests as well as for flights.
///
/// Acceleration: the deviation of the specific force vector from its mean over the last quarter of a second, by
/// magnitude. Pressure: the deviation from the straight line through the last 0.4 s, so that climbing is not a pulse.
/// While a pulse lasts, the reference holds. A pulse begins at kShock_mps2 or kPressure_pa (or eight times the noise)
/// and ends when the deviation has stayed below a tenth of its peak, or a quarter of the threshold, for a while; longer
/// than the limit it is not a pulse (thrust).
///
/// Reported: onset and end where a tenth of the peak is passed (linear between samples), rise time from 10 % to 90 % of
/// the peak (IEEE Std 181-2011 reference levels), peak, and the integral over time: velocity change in m/s, or Pa s.
/// Nothing finer than the sensor is claimed: rise and duration are no shorter than one sample interval, given as
/// `resolution_s`. Samples that are NaN or not newer are ignored; a gap longer than kGap_s ends a running pulse without
/// a report.
#include <cstdint>
#include <optional>
#include <vector>

#include <Eigen/Core>

#include "server/estimate/math/history.hpp"

namespace turnstone::estimate {

struct Pulse {
    std::int64_t t_ns; ///< onset
    std::int64_t t_peak_ns;
    double peak; ///< m/s2 or Pa; pressure with its sign
    double rise_s;
    double duration_s;
    double integral;     ///< m/s or Pa s
    double resolution_s; ///< mean spacing of the samples
    double axial_peak;   ///< m/s2, signed, along the long axis at the peak; NaN for pressure
};

/// Follows one scalar deviation, its reference already subtracted.
class PulseTracker {
  public:
    PulseTracker(double threshold, double longest_s, double quiet_s)
        : threshold_(threshold), longest_s_(longest_s), quiet_s_(quiet_s) {}

    enum class Outcome : unsigned char { idle, running, finished, too_long };
    /// `signed_value` is reported at the peak.
    Outcome sample(std::int64_t t_ns, double deviation, double signed_value);
    [[nodiscard]] Pulse result() const;
    [[nodiscard]] double signed_peak() const noexcept { return peak_signed_; }
    void abandon();

  private:
    struct Point {
        std::int64_t t_ns;
        double size;
    };
    [[nodiscard]] double crossing_s(double level, bool last) const;

    double threshold_, longest_s_, quiet_s_;
    std::vector<Point> points_; ///< of the running pulse, with the sample before it
    bool running_ = false;
    Point before_{0, 0.0};
    double peak_ = 0.0;
    double peak_signed_ = 0.0;
    std::int64_t t_peak_ns_ = 0;
    std::int64_t t_loud_ns_ = 0;
};

class PulseDetector {
  public:
    static constexpr double kShock_mps2 = 30.0;
    static constexpr double kPressure_pa = 300.0;
    static constexpr double kGap_s = 0.3;

    PulseDetector(double accel_noise_mps2, double pressure_noise_pa);

    std::optional<Pulse> force(std::int64_t t_ns, const Eigen::Vector3d& accel_body_mps2);
    std::optional<Pulse> pressure(std::int64_t t_ns, double pressure_pa);

  private:
    struct ForcePoint {
        std::int64_t t_ns;
        Eigen::Vector3d accel_body_mps2;
    };
    struct PressurePoint {
        std::int64_t t_ns;
        double pressure_pa;
    };
    PulseTracker shock_;
    PulseTracker pressure_pulse_;
    History<ForcePoint> forces_;
    History<PressurePoint> pressures_;
    std::int64_t t_force_ns_ = 0;
    std::int64_t t_pressure_ns_ = 0;
};

} // namespace turnstone::estimate
