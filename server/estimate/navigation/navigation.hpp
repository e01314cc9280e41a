#pragma once
/// Position, velocity and attitude of the vehicle: the error-state filter of eskf.hpp with the vehicle's sensors.
///
/// At rest it aligns ten times a second (alignment/pad_alignment.hpp), which is also the zero-velocity and zero-rate
/// update. Once the vehicle moves, every inertial sample predicts at its own time, and GNSS fixes (position and
/// velocity, looked up in the past at their time of validity) and barometric height correct. A fix beyond its
/// chi-square gate (99.9 %) counts as if its sigmas were as large as its misfit: a Student error, whose influence is
/// bounded, in place of yes or no. A height beyond its gate is dropped, since a charge's pulse has nothing to say. What
/// does not fit for 3 s in a row is believed again with a widened covariance, because by then the filter is the
/// likelier culprit. Without fixes, what hangs under a parachute goes with the air: an inertial solution is tens of
/// metres per second off by then, a forecast a few. The error of that air lasts, so it is
/// never averaged away.
///
/// Where alignment leaves several headings possible, the vehicle leaves the pad with a bank of filters (bank.hpp).
/// Where the turn about the nose becomes unknown in flight, by scale error times many turns or by a spin beyond the
/// gyro's range, a bank of turns follows it.
///
/// The noise of inertial samples follows their scatter: a running motor or a swinging parachute shakes them far beyond
/// the sensor's own noise. An accelerometer at its range says "at least this": along it the force to be expected of the
/// motor stands in, with an error that lasts. Navigation degrades in steps and names the present one (NavigationMode).
/// Inertial samples older than the newest are dropped; a gap in them is bridged with the mean of its two ends and an
/// uncertainty for what may have happened in it. Where that leaves the attitude beyond what a linear filter carries,
/// navigation is lost and says so; position and velocity are the translation filter's then (translation/), and attitude
/// is found again in motion (alignment/motion_alignment.hpp) or at rest. While fixes show speed or distance that their
/// sigmas do not explain, the vehicle is not at rest, whatever the phase. A silence at rest may hide a whole boost, and
/// the drag of the coast behind it may feel like gravity: until a height or a fix has told, rest is doubted. NaN
/// samples are ignored. Deterministic; no allocation after construction.
#include <cstdint>
#include <optional>
#include <vector>

#include "server/estimate/math/nis_monitor.hpp"
#include "server/estimate/measurements.hpp"
#include "server/estimate/navigation/alignment/motion_alignment.hpp"
#include "server/estimate/navigation/alignment/pad_alignment.hpp"
#include "server/estimate/navigation/bank.hpp"
#include "server/estimate/navigation/eskf.hpp"
#include "server/estimate/navigation/fix_noise.hpp"
#include "server/estimate/translation/translation_estimate.hpp"
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
    lost,                  ///< samples stopped, or the uncertainty passed use: align again
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
    double roll_rate_radps = kNaN, roll_rate_sigma_radps = kNaN;
    double roll_acceleration_radps2 = kNaN, roll_acceleration_sigma_radps2 = kNaN; ///< mean of a tenth of a second
    bool roll_known = true; ///< false in a spin beyond the gyro's range
    /// What fixes are off by: the slow error, the delay beyond the file's, the pad's height on the receiver's datum.
    Eigen::Vector3d fix_bias_m = kUnknown, fix_bias_sigma_m = kUnknown;
    double fix_delay_s = kNaN, fix_delay_sigma_s = kNaN;
    double pad_datum_m = kNaN, pad_datum_sigma_m = kNaN;
    double nis_fix_mean = kNaN, nis_height_mean = kNaN; ///< per degree of freedom
    /// Of the gravest of the components, and of each.
    Health health_fix = Health::not_enough_data, health_height = Health::not_enough_data;
    Health health_fix_horizontal = Health::not_enough_data, health_fix_vertical = Health::not_enough_data,
           health_fix_velocity = Health::not_enough_data;
    std::uint32_t rejected_fixes = 0, rejected_heights = 0; ///< of fixes: those that counted less
    AlignmentWait waits_for = AlignmentWait::no_samples;    ///< while not valid
    std::size_t hypotheses = 0;                             ///< alignments still flown side by side
};

/// Of the nose from vertical; `covariance_rad2` is of the attitude about the body axes.
struct Tilt {
    double rad, sigma_rad;
};
[[nodiscard]] Tilt tilt_of(const Eigen::Quaterniond& q_local_body, const Eigen::Matrix3d& covariance_rad2);

class Navigation {
  public:
    static constexpr double kAidedFor_s = 2.0; ///< by a fix that was used

    /// `site` and `rocket` must outlive it. `rocket`: null when there is none; its thrust is what to expect of an
    /// accelerometer at its range.
    Navigation(const SensorNoise& sensors, const Site& site, const RocketModel* rocket = nullptr);

    void imu(const ImuSample& sample);
    /// Where the accelerometer clips, m/s².
    void set_accel_range(double range_mps2) noexcept { sensors_.accel_range_mps2 = range_mps2; }
    void fix(const FixSample& sample);
    /// From the next fix on.
    void set_fix_scatter(const FixScatterFactors& factors) noexcept { fix_noise_.set_scatter(factors); }
    /// Height above the pad from static pressure. `noise_m` is new in each sample. The slow errors are a constant
    /// number of their own 1-sigmas each: `air_m` by the day's air, `port_m` by the air flowing past the ports.
    void height(std::int64_t t_ns, double above_pad_m, double noise_m, double air_m, double port_m);
    /// The vehicle hangs under a parachute, in air that moves so, 1-sigma of a component. Without fixes it is taken to
    /// move with it, once that says more than its inertial sensors.
    void hangs(const Eigen::Vector2d& air_en_mps, double sigma_mps);
    void mag(const MagSample& sample);
    /// `rest`: on the pad or landed. Alignment happens only then.
    void set_motion(Motion motion);
    /// The vehicle's computer restarted. Charges that pull the supply down do that, so that anything may have happened
    /// between the samples on either side.
    void reboot() noexcept { rebooted_ = true; }
    /// After each fix while estimate() is not valid: finds the attitude in motion.
    void align_in_motion(const TranslationEstimate& translation);

    /// From here on leaves the filters' steps in motion in `pass`, which must outlive it; null: no longer.
    void leave_steps(AttitudePass* pass);
    /// Those since the last alignment, of which no more will come.
    void leave_last_steps();

    [[nodiscard]] NavigationEstimate estimate() const { return estimate(covariance()); }
    /// So, with covariance() at hand.
    [[nodiscard]] NavigationEstimate estimate(const Eskf::Covariance& covariance) const;
    /// Parts of estimate(), for less; meaningful while valid().
    [[nodiscard]] EskfNominal nominal() const { return bank_.nominal(); }
    [[nodiscard]] Eigen::Vector3d velocity_sigma_mps() const { return bank_.velocity_sigma_mps(); }
    /// Up in body axes for the vertical filter; empty before alignment.
    [[nodiscard]] std::optional<TiltInput> tilt() const;
    /// Of the error state about estimate() (eskf.hpp); zero before alignment.
    [[nodiscard]] Eskf::Covariance covariance() const;
    /// The likeliest filter's state, for callers at the sensor's pace; meaningful while moving().
    [[nodiscard]] const EskfNominal& best_nominal() const { return bank_.best().nominal(); }
    [[nodiscard]] double vertical_speed_sigma_mps() const { return bank_.best().filter().sigma(Eskf::kVelocity + 2); }
    struct Acceleration {
        Eigen::Vector3d enu_mps2;
        double sigma_mps2; ///< of one axis, by how the last samples scatter
    };
    /// Of the newest inertial sample; meaningful while moving().
    [[nodiscard]] Acceleration acceleration() const;
    /// estimate().valid, for less.
    [[nodiscard]] bool valid() const noexcept { return !bank_.empty(); }
    /// Aligned and off its rest: the filters run.
    [[nodiscard]] bool moving() const noexcept { return !bank_.empty() && left_rest_; }
    /// At rest before a silence that may have hidden a launch; nothing has told yet whether it did.
    [[nodiscard]] bool rest_doubted() const noexcept { return silence_.has_value(); }
    /// Of the newest inertial sample used; 0 before one.
    [[nodiscard]] std::int64_t t_ns() const noexcept { return has_last_ ? last_.t_ns : 0; }

  private:
    static constexpr double kAgitationTime_s = 0.1; ///< over which scatter and roll acceleration are taken
    static constexpr double kMoved_mps2 = 4.0;      ///< more than wind and noise, passed within a sample of liftoff

    [[nodiscard]] static bool clipped(double value, double range);
    [[nodiscard]] bool resting() const noexcept { return at_rest_ && !moved_unfelt_; }
    void start(std::int64_t t_ns, bool at_rest);
    bool doubt_rest(const ImuSample& sample, double gap_s);
    void leave_rest(std::int64_t t_ns);
    void leave_rest_unfelt(std::int64_t t_ns);
    void lose_attitude();
    void lose_bridged_attitude(); ///< where a gap left it beyond use
    void step(const ImuSample& sample, double gap_s);
    void follow_scatter(const ImuSample& sample);
    void predict(const ImuSample& sample, double gap_s, double accel_inflation, double gyro_inflation);
    /// Of the force along the nose while its accelerometer is at its range, 1-sigma with it.
    struct Force {
        double mps2, sigma_mps2;
    };
    [[nodiscard]] Force expected_force(double reading_mps2, std::int64_t t_ns) const;
    /// Handles a roll rate beyond the gyro's range. True while it does.
    bool spin(const ImuSample& sample, double gap_s, double accel_inflation);
    void leave_said(); ///< the attitude and its covariance, for a backward pass
    void use_fix(const EnuFix& fix, std::int64_t t_ns);
    void watch_rest(const EnuFix& fix, const Eigen::Vector3d& stated_m, std::int64_t t_ns);
    void watch_rest(double above_pad_m, double sigma_m, std::int64_t t_ns);
    SensorNoise sensors_;
    const Site* site_;
    const RocketModel* rocket_;
    LocalFrame frame_;
    double gravity_mps2_;
    PadAlignment alignment_;
    MotionAlignment motion_alignment_;
    FixNoise fix_noise_;
    std::vector<Alignment> hypotheses_;
    BranchBank bank_;
    std::optional<Alignment> known_; ///< what is left of the last attitude: biases
    bool at_rest_ = true;
    bool left_rest_ = false; ///< moved since the last alignment: the filter runs
    std::int64_t left_rest_ns_ = 0;
    bool moved_unfelt_ = false; ///< fixes or heights show motion that the phase does not know of
    double level_m_ = kNaN;     ///< where heights have been at rest, and since when
    std::int64_t level_since_ns_ = 0;
    struct Silence {
        ImuSample before;
        std::int64_t over_ns;
    };
    std::optional<Silence> silence_; ///< while rest is doubted
    std::int64_t moving_since_ns_ = 0, slow_since_ns_ = 0;
    Motion motion_ = Motion::rest;
    ImuSample last_{};
    bool has_last_ = false;
    bool rebooted_ = false; ///< since the last sample
    double interval_s_ = 0.01;
    double roll_rad_ = 0, roll_acceleration_radps2_ = 0;
    double accel_scatter2_ = 0, rate_scatter2_ = 0;       ///< mean square of one axis from sample to sample, halved
    Eigen::Vector3d clipped_s_ = Eigen::Vector3d::Zero(); ///< accelerometer at its range for so long, by axis
    bool spinning_ = false;
    std::int64_t roll_clipped_ns_ = 0;
    std::int64_t last_fix_used_ns_ = 0;
    bool fix_used_ = false;
    struct Drift {
        std::int64_t t_ns = 0;                   ///< the newest time at which the air told the velocity
        double sigma_mps = 0, gathered_m2ps = 0; ///< as Eskf::drift takes them
    };
    Drift drift_;
    std::int64_t t_height_ns_ = 0, t_height_judged_ns_ = 0;
    Eigen::Vector2d height_slow_m_ = Eigen::Vector2d::Zero(); ///< of the last height
    std::int64_t fix_rejected_since_ns_ = 0, height_rejected_since_ns_ = 0;
    std::uint32_t rejected_fixes_ = 0, rejected_heights_ = 0;
    AttitudePass* pass_ = nullptr; ///< for a backward pass; null in the air
    /// Errors of real fixes have longer tails than a normal distribution's: as Student's t with seven degrees of
    /// freedom has them, which doubles the variance of their squares. Common experience, no source.
    static constexpr double kFixTails = 2;
    NisMonitor nis_fix_{kFixTails}, nis_horizontal_{kFixTails}, nis_vertical_{kFixTails}, nis_velocity_{kFixTails};
    NisMonitor nis_height_;
};

} // namespace turnstone::estimate
