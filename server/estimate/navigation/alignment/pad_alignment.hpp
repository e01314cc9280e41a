#pragma once
/// Attitude and gyro bias at rest on the pad, from gravity, the rail's azimuth and lean or a magnetometer.
///
/// Gravity gives up in body axes but not the rotation about the vertical. The operator's launch azimuth and rail lean
/// leave only the turn about the long axis unknown: the nose points where the rail points. A magnetometer (horizontal
/// part of the field, corrected by the site's declination) makes some headings likelier than others, never certain:
/// uncalibrated, with iron and currents beside it, it may be wrong altogether. With neither, any heading is as likely.
///
/// A rail leans a few degrees, and a cheap accelerometer's bias looks like as much: the turn in the rail is then known
/// to tens of degrees only, far beyond what a linear filter can carry. So the answer is a bank of hypotheses, each with
/// its turn known well, its own bias that explains the accelerometer, and the likelihood of that bias; flight decides
/// between them (Gaussian sum: D. L. Alspach, H. W. Sorenson, IEEE Trans. Automatic Control 17(4), 1972).
///
/// The accelerometer's bias tilts the measured "up" by bias / g, and the filter must know that the two errors are one:
/// the covariance handed over has the cross term (levelling error of a strapdown system; P. D. Groves, "Principles of
/// GNSS, Inertial, and Multisensor Integrated Navigation Systems", 2nd ed. 2013, section 5.6.2), here because the
/// levelling is a filter correction.
///
/// After a flight the place and the receiver's errors go on from where it left them: fixes may never come again.
///
/// Everything at rest is averaged here and handed over with each still block; the filters start when the vehicle moves.
/// (A filter that ran on the pad would learn a heading from nothing: each relinearisation of the nearly vertical
/// attitude leaks a little of the unobservable rotation into the observable ones.)
#include <cstdint>
#include <vector>

#include "server/estimate/measurements.hpp"
#include "server/estimate/navigation/alignment/rest_fixes.hpp"
#include "server/estimate/navigation/eskf.hpp"
#include "shared/site.hpp"
#include "shared/vehicle.hpp"
#include "shared/words.hpp"

namespace turnstone::estimate {

/// Why there is no alignment (yet).
enum class AlignmentWait : unsigned char {
    none,               ///< aligned
    no_samples,         ///< no inertial samples are heard
    not_at_rest,        ///< in flight, attitude not found again
    others_show_motion, ///< the phase says at rest, fixes or heights say otherwise
    shaken,             ///< the force changes within a tenth of a second
    turning,            ///< the gyros show more than wind on a rail
    not_one_g,          ///< the mean force is not that of gravity
    averaging           ///< still, but not long enough
};
consteval auto words_of(AlignmentWait) {
    return words<AlignmentWait::averaging>("aligned", "no inertial samples", "not at rest",
                                           "fixes or heights show motion", "shaken", "turning", "force is not 1 g",
                                           "averaging");
}

struct Alignment {
    EskfNominal nominal; ///< velocity zero
    Eskf::Covariance covariance;
    double log_weight; ///< of this hypothesis among the others, up to a common constant
};

/// Collects inertial samples in blocks of 0.1 s, or of three samples where that is longer, while they are still; one
/// and a half seconds of still blocks in a row align. What counts as still follows from the vehicle's sensor figures.
class PadAlignment {
  public:
    static constexpr std::size_t kHypotheses = 24;
    /// Sigma of a hypothesis in steps between them: their sum is flat to 1 %.
    static constexpr double kStepFraction = 0.55;
    /// `scatter`: how well the rail stands as the site file says.
    PadAlignment(const SensorNoise& sensors, const Site& site, double gravity_mps2, const FlightScatter& scatter = {});

    /// Returns true when `sample` closed a still block: the moment to take a new alignment.
    bool imu(const ImuSample& sample);
    void mag(const MagSample& sample);
    /// Alignments from the still blocks so far, the likeliest first and the others in no order, at most kHypotheses;
    /// empty while there are too few blocks. Keeps the blocks. `out` keeps its capacity.
    void hypotheses(std::vector<Alignment>& out) const;
    /// Typical, between inertial samples.
    [[nodiscard]] double sample_interval_s() const noexcept { return interval_s_; }
    /// Of the still blocks' mean force; gravity's before there are any.
    [[nodiscard]] double force_at_rest_mps2() const;
    /// What the newest block lacked; `averaging` when it was still.
    [[nodiscard]] AlignmentWait waits_for() const noexcept { return waits_for_; }
    /// Nothing but the sensors' figures: biases zero, place and attitude unknown.
    [[nodiscard]] Alignment unknown() const;
    /// Nothing is known of attitude or place.
    void clear();
    /// It came to rest after a flight: the attitude is to be found again.
    void land();
    /// So, with the place and the receiver's errors as the flight left them.
    void land(const EskfNominal& nominal, const Eskf::Covariance& covariance, std::int64_t t_ns);

    /// A position fix at rest, ENU, with the 1-sigma of its whole error.
    void position(std::int64_t t_ns, const Eigen::Vector3d& position_enu_m, const Eigen::Vector3d& sigma_m);
    [[nodiscard]] const RestFixes& fixes() const noexcept { return fixes_; }

  private:
    void begin_again();
    void open_block(const ImuSample& sample);
    [[nodiscard]] AlignmentWait judge(double force_mps2) const;
    void weigh_by_field(Alignment& hypothesis) const;
    /// Levels `q_local_body`, whose attitude has covariance `attitude_rad2` about the body axes, with the mean force.
    [[nodiscard]] Alignment level(const Eigen::Quaterniond& q_local_body, const Eigen::Matrix3d& attitude_rad2) const;
    /// After a flight, or far from the pad, neither the rail nor the pad's height says anything.
    [[nodiscard]] bool at_pad() const;
    /// Whether the mean magnetic field, turned by `q` (level, any heading), has enough of a horizontal part.
    [[nodiscard]] bool knows_north(const Eigen::Quaterniond& q) const;
    /// Rotation about up that `q` still needs for its heading to agree with the mean magnetic field, counter-clockwise,
    /// rad.
    [[nodiscard]] double heading_from_field(const Eigen::Quaterniond& q) const;

    SensorNoise sensors_;
    const Site* site_;
    double gravity_mps2_;
    double rail_lean_rad_, rail_azimuth_rad_; ///< 1-sigma
    bool flown_ = false;
    std::int64_t block_start_ns_ = 0, last_ns_ = 0;
    Eigen::Vector3d sum_accel_ = Eigen::Vector3d::Zero(), sum_rate_ = Eigen::Vector3d::Zero();
    Eigen::Vector3d first_accel_ = Eigen::Vector3d::Zero();
    double accel_spread_ = 0, rate_peak_ = 0;
    int count_ = 0;
    Eigen::Vector3d mean_accel_ = Eigen::Vector3d::Zero(), mean_rate_ = Eigen::Vector3d::Zero(); ///< over still blocks
    std::int64_t samples_ = 0;
    double still_s_ = 0;
    double interval_s_ = 0.01;
    Eigen::Vector3d mag_sum_ = Eigen::Vector3d::Zero();
    int mag_count_ = 0;
    RestFixes fixes_;
    AlignmentWait waits_for_ = AlignmentWait::averaging;
};

} // namespace turnstone::estimate
