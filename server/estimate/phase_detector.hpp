#pragma once
/// Which phase a flight is in, and when each began.
///
/// Inputs: axial specific force and its magnitude [m/s2], lateral body rate [rad/s], heights from static pressure above
/// the pad [m] with 1-sigma, and the vertical filter's estimate. Any of them may be missing (NaN, or never called): with
/// barometer only, inertial sensor only or both the same phases come out, with other uncertainties.
///
/// Each change is decided on evidence that lasts, later than it happened, and then back-dated to when it began:
///   lift-off     inertial: axial thrust of at least kThrust_mps2 for kThrustTime_s that gained kThrustSpeed_mps, from an
///                upright rest, without lateral rotation, and confirmed by a rising barometer where one works. Onset
///                of the thrust. Barometer alone: a climb faster than 10 m/s through 30 m in four quarters of a second
///                or more, unless an inertial sensor sees rest. Root of h against t (uniform acceleration) gives the onset.
///   burn-out     inertial: axial force stays below kCoastForce_mps2. The end of the fall of thrust, not its middle. Barometer: break
///                between two parabolas.
///   apogee       the filter's vertical speed is below zero for good; zero crossing, free fall carried back. Or, whatever
///                the filter says, a fall of 25 m below the highest height.
///   deployment   inertial: shock after apogee. Barometer: slower than free fall for good, or the break in descent rate.
///   landing      heights stand still and no shaking. Last shock before it, or where the descent meets the ground.
/// What is not seen in a gap of reception is dated inside the gap, with the gap's width as uncertainty.
///
/// No randomness, no clock; samples older than the newest of their kind are ignored; NaN is ignored. A lift-off after which
/// the vehicle stands at rest at the pad's height within kWithdraw_s is withdrawn. reset() starts anew on the pad.
#include <cstdint>
#include <optional>
#include <vector>

#include "server/estimate/history.hpp"
#include "server/estimate/phase.hpp"
#include "server/estimate/vertical_filter.hpp"

namespace turnstone {

struct PhaseSettings {
    double gravity_mps2 = 9.80665;
    double accel_noise_mps2 = 0.3;
    double accel_range_mps2 = 157.0;
    /// Parachutes in order of use; with one only, its deployment begins the main descent.
    int parachutes = 2;
};

class PhaseDetector {
  public:
    static constexpr double kThrust_mps2 = 4.0;      ///< above rest
    static constexpr double kThrustTime_s = 0.22;
    static constexpr double kThrustSpeed_mps = 5.0;
    static constexpr double kThrustRise_m = 4.0;     ///< by pressure, before the barometer has confirmed
    static constexpr double kThrustSpeedAlone_mps = 15.0; ///< without a barometer to ask
    static constexpr double kLateralRate_rad_s = 3.0; ///< swung by hand, not launched
    static constexpr double kCoastForce_mps2 = 1.5;
    static constexpr double kWithdraw_s = 6.0;

    explicit PhaseDetector(const PhaseSettings& settings);

    void imu(std::int64_t t_ns, double axial_mps2, double magnitude_mps2, double lateral_rate_rad_s);
    void height(std::int64_t t_ns, double above_pad_m, double sigma_m);
    void vertical(const VerticalEstimate& estimate);
    /// A sudden jump of pressure that is no motion (the pulse of a charge).
    void pulse(std::int64_t t_ns);
    void tick(std::int64_t t_ns);

    [[nodiscard]] Phase phase() const noexcept { return phase_; }
    [[nodiscard]] std::int64_t phase_began_ns() const noexcept { return phase_began_ns_; }
    /// Every moment of this flight so far, in order.
    [[nodiscard]] const std::vector<FoundMoment>& moments() const noexcept { return moments_; }
    [[nodiscard]] std::optional<std::int64_t> time_of(Moment moment) const noexcept;
    /// At rest as far as can be seen: the pad reference may follow.
    [[nodiscard]] bool quiet() const noexcept { return phase_ == Phase::on_pad && !thrust_.active; }
    [[nodiscard]] Motion motion() const noexcept;
    void reset();

  private:
    struct Force {
        std::int64_t t_ns;
        double axial_mps2;
        double magnitude_mps2;
        double lateral_rate_rad_s;
    };
    struct HeightPoint {
        std::int64_t t_ns;
        double above_pad_m;
        double sigma_m;
    };
    struct SpeedPoint {
        std::int64_t t_ns;
        double speed_mps;
        double sigma_mps;
        double accel_mps2;
    };
    struct Shock {
        std::int64_t t_ns; ///< onset
        std::int64_t t_last_ns;
    };
    struct Line { ///< through heights, at the newest of them
        double height_m;
        double speed_mps;
        double spread_m; ///< rms of residuals
        int points;
    };
    struct Thrust { ///< a run of axial force above rest that may become a lift-off
        bool active = false;
        std::int64_t t_before_ns = 0; ///< last sample before it
        std::int64_t t_first_ns = 0;
        std::int64_t t_last_ns = 0;
        std::int64_t t_above_ns = 0;  ///< last sample above the threshold
        double before_mps2 = 0;       ///< excess of the last sample before it
        double first_mps2 = 0;
        double gained_mps = 0;
        double travelled_m = 0;
        double rate_sum = 0;
        double start_height_m = 0;
        int samples = 0;
        int height_count = 0;
    };
    struct TimeEstimate {
        std::int64_t t_ns;
        double sigma_s;
    };

    void enter(Phase phase, Moment moment, TimeEstimate when);
    void watch_pad(const Force& force);
    void decide_lift_off_inertial();
    void decide_lift_off_heights();
    void watch_withdrawal();
    void watch_burn_out(const Force& force);
    void watch_burn_out_heights();
    void watch_apogee();
    void watch_apogee_heights();
    void watch_shock(const Force& force);
    void watch_deployment();
    void watch_main();
    void watch_landing();
    void deploy(Moment moment, TimeEstimate when);

    [[nodiscard]] TimeEstimate thrust_onset() const;
    [[nodiscard]] TimeEstimate climb_onset() const;
    [[nodiscard]] TimeEstimate thrust_end(std::int64_t crossed_ns) const;
    [[nodiscard]] TimeEstimate thrust_end_in_gap(std::int64_t before_ns, std::size_t crossed) const;
    [[nodiscard]] TimeEstimate main_onset() const;
    [[nodiscard]] TimeEstimate touch_down(double ground_m) const;
    [[nodiscard]] bool barometer_alive() const noexcept;
    [[nodiscard]] bool inertial_alive() const noexcept;
    [[nodiscard]] bool inertial_at_rest(double window_s, double spread_mps2) const;
    [[nodiscard]] std::optional<Line> line_through_heights(std::int64_t from_ns, std::int64_t to_ns) const;
    [[nodiscard]] std::optional<double> mean_height(std::int64_t from_ns, std::int64_t to_ns) const;

    PhaseSettings settings_;
    Phase phase_ = Phase::on_pad;
    std::int64_t phase_began_ns_ = 0;
    std::int64_t t_now_ns_ = 0;
    std::vector<FoundMoment> moments_;
    History<Force> forces_;
    History<HeightPoint> heights_;
    History<SpeedPoint> speeds_;
    Thrust thrust_;
    double rest_axial_mps2_;
    double upright_s_ = 0;         ///< how long upright rest has been seen; latched at its maximum
    double leaning_s_ = 0;
    std::int64_t coast_began_ns_ = 0; ///< candidate burn-out; 0: none
    int coast_samples_ = 0;
    double highest_m_ = 0;
    std::int64_t highest_ns_ = 0;
    int below_highest_ = 0;
    int falling_ = 0;              ///< estimates in a row with negative speed
    History<Shock> shocks_;
    double fastest_descent_mps_ = 0; ///< mean speed of the fastest second under the drogue, negative
    int slowed_ = 0;               ///< heights in a row with a much slower descent than that
};

/// Where one motion changes into another: least squares of two parabolas that meet in value and slope, over a grid of break
/// times. With `kink` the slope may jump as well: pressure at the ports follows the square of speed, so the end of thrust
/// bends heights more sharply than the motion itself. Times in seconds, ascending; needs 12 points. `sigma_s` from the
/// curvature of the sum of squares.
struct Break {
    double t_s;
    double sigma_s;
};
[[nodiscard]] std::optional<Break> break_between_parabolas(const std::vector<double>& t_s, const std::vector<double>& y,
                                                           bool kink);

} // namespace turnstone
