#pragma once
/// Position, velocity and attitude of the vehicle: the error-state filter of eskf.hpp with the vehicle's sensors.
///
/// At rest it aligns ten times a second (pad_alignment.hpp), which is also the zero-velocity and zero-rate update. Once
/// the vehicle moves, every inertial sample predicts at its own time, and GNSS fixes (position and velocity, looked up
/// in the past at their time of validity) and barometric height correct. Every correction passes a chi-square gate
/// (99.9 %). A sensor rejected for 3 s in a row is believed again with a widened covariance, because by then the filter
/// is the likelier culprit.
///
/// Where alignment leaves several headings possible, the vehicle leaves the pad with a bank of filters, weighted by how
/// well each explains the measurements. Those that fall behind are dropped; kSettled fixes after liftoff the best one
/// remains. While there are several, position and velocity are those of the mixture, attitude and biases those of the
/// likeliest, and the covariance that of the mixture about them.
///
/// The noise of inertial samples follows their scatter: a running motor or a swinging parachute shakes them far beyond
/// the sensor's own noise. Navigation degrades in steps and names the present one (NavigationMode). Inertial samples
/// older than the newest are dropped; a gap in them is bridged with the mean of its two ends and an uncertainty for
/// what may have happened in it; a gap of more than 2 s ends the alignment. Clipped accelerometers and saturated gyros
/// count with inflated noise while they last. NaN samples are ignored. Deterministic; no allocation after construction.
#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "server/estimate/math/nis_monitor.hpp"
#include "server/estimate/measurements.hpp"
#include "server/estimate/navigation/branch.hpp"
#include "server/estimate/navigation/eskf.hpp"
#include "server/estimate/navigation/pad_alignment.hpp"
#include "server/estimate/vertical/vertical_input.hpp"
#include "shared/geodesy.hpp"
#include "shared/site.hpp"
#include "shared/vehicle.hpp"

namespace turnstone::estimate {

enum class NavigationMode : unsigned char {
    aligning,              ///< at rest or moving, attitude not known yet
    at_rest,               ///< aligned, at rest, zero-velocity updates
    gnss_aided,            ///< moving; a GNSS fix was used within the last 2 s
    dead_reckoning,        ///< moving; no fix used for more than 2 s, uncertainty grows
    lost,                  ///< inertial samples stopped, or the uncertainty passed use: align again
    vertical_only,         ///< no inertial samples are heard, and no position is known (said of a chain, as the next)
    aided_without_attitude ///< position from fixes and heights alone
};
consteval auto words_of(NavigationMode) {
    return words<NavigationMode::aided_without_attitude>("aligning", "at rest", "GNSS-aided", "dead reckoning", "lost",
                                                         "vertical only", "aided, no attitude");
}

/// NaN where nothing is known.
struct NavigationEstimate {
    static inline const Eigen::Vector3d kUnknown = Eigen::Vector3d::Constant(kNaN);

    std::int64_t t_ns = 0; ///< of the newest inertial sample
    NavigationMode mode = NavigationMode::aligning;
    bool valid = false; ///< everything below means something
    Eigen::Vector3d position_enu_m = kUnknown, position_sigma_m = kUnknown;
    Eigen::Vector3d velocity_enu_mps = kUnknown, velocity_sigma_mps = kUnknown;
    Eigen::Quaterniond q_local_body{kNaN, kNaN, kNaN, kNaN};
    Eigen::Vector3d attitude_sigma_rad = kUnknown; ///< about the body axes
    Eigen::Vector3d rate_body_radps = kUnknown;    ///< bias removed
    Eigen::Vector3d accel_bias_mps2 = kUnknown, gyro_bias_radps = kUnknown;
    double tilt_rad = kNaN, tilt_sigma_rad = kNaN; ///< of the nose from vertical
    double tilt_heading_rad = kNaN;                ///< azimuth the nose leans to, clockwise from true north, [0, 2 pi)
    double roll_rad = kNaN;                        ///< accumulated about the long axis since alignment; not wrapped
    double nis_fix_mean = kNaN, nis_height_mean = kNaN;
    Health health_fix = Health::not_enough_data, health_height = Health::not_enough_data;
    std::uint32_t rejected_fixes = 0, rejected_heights = 0;
    std::size_t hypotheses = 0; ///< alignments still flown side by side
};

class Navigation {
  public:
    /// `site` must outlive it.
    Navigation(const SensorNoise& sensors, const Site& site);

    void imu(const ImuSample& sample);
    void fix(const FixSample& sample);
    /// Height above the pad from static pressure. `noise_m` is new in each sample; `systematic_m` (the day's lapse, the
    /// pad's temperature, the ports) changes slowly and counts once in 20 s, not with every sample.
    void height(std::int64_t t_ns, double above_pad_m, double noise_m, double systematic_m);
    void mag(const MagSample& sample);
    /// `rest`: on the pad or landed. Alignment happens only then.
    void set_motion(Motion motion);

    [[nodiscard]] NavigationEstimate estimate() const;
    /// Up in body axes for the vertical filter; empty before alignment.
    [[nodiscard]] std::optional<TiltInput> tilt() const;
    /// Of the error [dp, dv, dtheta, dba, dbg] about estimate(); zero before alignment.
    [[nodiscard]] Eskf::Covariance covariance() const;
    /// The likeliest filter's state, for callers at the sensor's pace; meaningful while moving().
    [[nodiscard]] const EskfNominal& best_nominal() const { return best().nominal(); }
    [[nodiscard]] double vertical_speed_sigma_mps() const { return best().filter().sigma(Eskf::kVelocity + 2); }
    /// Aligned and off its rest: the filters run.
    [[nodiscard]] bool moving() const noexcept { return active_ > 0 && left_rest_; }
    /// Of the newest inertial sample used; 0 before one.
    [[nodiscard]] std::int64_t t_ns() const noexcept { return has_last_ ? last_.t_ns : 0; }

  private:
    void start(std::int64_t t_ns);
    void step(const ImuSample& sample, double gap_s);
    void follow_scatter(const ImuSample& sample);
    /// Brings the likeliest to the front and drops those that fell behind.
    void rank_branches();
    using Fractions = std::array<double, PadAlignment::kHypotheses>;
    [[nodiscard]] Fractions fractions() const; ///< of the weight of all, by branch
    [[nodiscard]] const NavigationBranch& best() const { return branches_.front(); }
    SensorNoise sensors_;
    const Site* site_;
    LocalFrame frame_;
    double gravity_mps2_;
    PadAlignment alignment_;
    std::vector<Alignment> hypotheses_;
    std::vector<NavigationBranch> branches_; ///< the first active_ of them are in use, likeliest first
    std::size_t active_ = 0;
    int fixes_since_rest_ = 0;
    bool at_rest_ = true;
    bool left_rest_ = false; ///< moved since the last alignment: the filter runs
    Motion motion_ = Motion::rest;
    ImuSample last_{};
    bool has_last_ = false;
    double interval_s_ = 0.01;
    double roll_rad_ = 0;
    double accel_scatter2_ = 0, rate_scatter2_ = 0; ///< mean square of one axis from sample to sample, halved
    std::int64_t last_fix_used_ns_ = 0;
    bool fix_used_ = false;
    std::int64_t t_height_ns_ = 0;
    std::int64_t fix_rejected_since_ns_ = 0, height_rejected_since_ns_ = 0;
    std::uint32_t rejected_fixes_ = 0, rejected_heights_ = 0;
    NisMonitor nis_fix_, nis_height_;
};

} // namespace turnstone::estimate
