#pragma once
/// Vertical motion from a vertical accelerometer and heights, in one dimension, up positive, heights above the pad.
///
/// State, in the order of the vector:
///   h  altitude above the pad                                              [m]
///   v  vertical speed                                                      [m/s]
///   a  vertical acceleration, gravity removed                              [m/s2]
///   b  bias of the vertical accelerometer                                  [m/s2]
///   s  fraction of the felt force that is not vertical (tilt of the axis
///      that stands for the vertical, and scale error)                      [1]
///   c  pressure coefficient of the static ports: pressure error over
///      dynamic pressure                                                    [1]
///   d  delay of the pressure behind the vents'                             [s]
///
/// Process. While accelerometer samples arrive, the accelerometer is an input: each sample z, with the force f it was
/// made from, sets a = z - b - s f with the noise of z, and a holds until the next sample. That is the limit of a
/// measurement of `a` with no prior knowledge of the motion, so neither thrust nor a parachute needs a model; with f =
/// 0 it is the filter "accelerometer as input with bias" of tests/reference/kalman_steady.json. b, s and c are random
/// walks. In a gap of the accelerometer, and always in descent or without one, `a` is a Singer process: first-order
/// Gauss-Markov around a mean that the kind of motion gives (R. A. Singer, "Estimating Optimal Tracking Filter
/// Performance for Manned Maneuvering Targets", IEEE Trans. AES-6, 1970, eqs. 7-16). The first sample after a gap is an
/// ordinary measurement of a + b + s f, so that what changed in the gap is divided between a and v.
///
/// Heights are measurements of h - c k - d v0, k the height that one dynamic pressure is worth and v0 the speed it was
/// made at, white, each with its own 1-sigma. A height whose normalised innovation squared exceeds kGateNis is left out
/// (ejection pulses, port transients). If every height is left out for kRecoveryInertial_s (kRecoveryHeightOnly_s
/// without accelerometer), and the heights of that time lie on one parabola, it is the filter that is wrong: h, v and
/// their covariance restart from that parabola, and b is kept. Heights that do not fit one are never taken, nor are
/// heights that do not move while an accelerometer in use says that the vehicle flies (a stuck barometer). At rest, v =
/// 0 is measured ten times a second, gated the same way; that is how b is learnt on the pad.
///
/// Order and gaps: a height newer than the newest accelerometer sample waits for the next one, kHeightWait_s at most,
/// since packets of different sensors overtake each other. A height older than the state is related to it by the
/// state's own motion, up to kHeightLate_s. Accelerometer samples that are older than the newest one, or repeat its
/// time, are dropped. NaN is not a measurement. After kStaleReset_s without any input everything but b restarts with
/// the next height.
///
/// Health: NIS of every height, also of those left out, averaged over 50, with its chi-square bounds.
#include <array>
#include <cstdint>
#include <vector>

#include "server/estimate/math/kalman.hpp"
#include "server/estimate/math/nis_monitor.hpp"

namespace turnstone::estimate {

/// What kind of motion the phase detector sees. Decides how unmeasured acceleration is modelled.
enum class Motion : unsigned char { rest, boost, coast, descent };

struct VerticalSettings {
    double accel_bias_mps2 = 0.3; ///< 1-sigma at the start
    double accel_bias_walk_mps2_rts = 1e-3;
    double port_sigma = 0.015; ///< of c at the start; ports of small vehicles read low or high by 1 to 2 %
    double port_walk_rts = 0.001;
    double delay_s = 0.015;       ///< of the bay's air behind the vents', and of the sensor: mean and 1-sigma of
    double delay_sigma_s = 0.012; ///< what small vehicles show
    double gate_nis = 15.136705226623606; ///< chi-square, 1 degree of freedom, 0.9999
    bool rest_updates = true;             ///< v = 0 at rest
};

/// What is known of s. The axis alone: a flight leans by 8 degrees (1 %) or so, and leans further as it climbs.
struct AxisFraction {
    double mean = 0.01;
    double sigma = 0.015;
    double walk_rts = 0.006;
    friend bool operator==(const AxisFraction&, const AxisFraction&) = default;
};

struct VerticalEstimate {
    std::int64_t t_ns = 0;
    bool valid = false;    ///< false until the first height
    bool inertial = false; ///< the accelerometer is in use
    double altitude_m = 0, altitude_sigma_m = 0;
    double vertical_speed_mps = 0, vertical_speed_sigma_mps = 0;
    double acceleration_mps2 = 0, acceleration_sigma_mps2 = 0;
    double accel_bias_mps2 = 0, accel_bias_sigma_mps2 = 0;
    double axis_fraction = 0, axis_fraction_sigma = 0;
    double port_coefficient = 0, port_coefficient_sigma = 0;
    double delay_s = 0, delay_sigma_s = 0;
    double nis = 0;      ///< of the newest height; NaN before any
    double nis_mean = 0; ///< over the last 50
    Health health = Health::not_enough_data;
};

/// What was done with a height.
enum class HeightVerdict : unsigned char { used, gated, too_old };

struct HeightResult {
    std::int64_t t_ns;
    double innovation_m;
    double nis;
    HeightVerdict verdict;
    bool restarted; ///< the filter restarted from the heights
    bool stuck;     ///< heights do not move for long while the accelerometer shows a climb
};

class VerticalFilter {
  public:
    static constexpr double kHoldMax_s = 0.012; ///< accelerometer sample held without growing uncertainty
    static constexpr double kHeightWait_s = 0.15;
    static constexpr double kHeightLate_s = 0.5;
    static constexpr double kRecoveryInertial_s = 1.5;
    static constexpr double kRecoveryHeightOnly_s = 1.0;
    static constexpr double kCoastThrough_s = 3.0; ///< predicted that long without any input
    static constexpr double kStaleReset_s = 30.0;

    explicit VerticalFilter(const VerticalSettings& settings);

    /// Takes effect at the state's time. Going from rest to boost without accelerometer opens the covariance.
    void set_motion(Motion motion);
    [[nodiscard]] Motion motion() const noexcept { return motion_; }

    /// Vertical coordinate acceleration (gravity removed) with its white 1-sigma, and the force it comes from, which
    /// `fraction` is a fraction of; 0 when the fraction does not apply.
    void accelerometer(std::int64_t t_ns, double accel_up_mps2, double sigma_mps2, double force_mps2 = 0.0,
                       const AxisFraction& fraction = {});
    /// In descent without attitude: how strongly the vehicle is shaken bounds how fast its acceleration changes.
    void set_descent_agitation(double sigma_mps2);
    /// `port_m`: by how much a port coefficient of 1 would lower the height, dynamic pressure over weight density.
    /// `speed_mps`: by how much a delay of a second would.
    void height(std::int64_t t_ns, double altitude_m, double sigma_m, double port_m = 0.0, double speed_mps = 0.0);
    /// Takes in waiting heights that are old enough, and brings a state without accelerometer up to `t_ns`.
    void advance(std::int64_t t_ns);

    [[nodiscard]] VerticalEstimate estimate() const;
    /// Results since the last call, oldest first; cleared by it.
    [[nodiscard]] std::vector<HeightResult> take_results();
    /// Forgets everything but the settings.
    void reset();
    /// Starts at a known state, mainly for tests: covariance diagonal from the sigmas.
    void start(std::int64_t t_ns, double altitude_m, double altitude_sigma_m, double speed_mps, double speed_sigma_mps);

  private:
    struct Height {
        std::int64_t t_ns;
        double altitude_m;
        double sigma_m;
        double port_m;
        double speed_mps;
    };
    struct Singer {
        double mean_mps2, sigma_mps2, tau_s;
    };
    enum State : int { kH, kV, kA, kB, kS, kC, kD, kSize };
    using Vector = Eigen::Matrix<double, kSize, 1>;
    using Row = Eigen::Matrix<double, 1, kSize>;
    using Matrix = Eigen::Matrix<double, kSize, kSize>;

    [[nodiscard]] Singer singer() const noexcept;
    [[nodiscard]] bool inertial_at(std::int64_t t_ns) const noexcept;
    void propagate_to(std::int64_t t_ns);
    [[nodiscard]] Matrix walks(double dt_s) const;
    void propagate_held(double dt_s);
    void propagate_singer(double dt_s, const Singer& process);
    void apply_height(const Height& height);
    void rest_update();
    [[nodiscard]] bool recover(const Height& height, bool& stuck);
    void take_waiting(std::int64_t up_to_t_ns);
    void start_from(const Height& height);

    VerticalSettings settings_;
    KalmanState<kSize> state_;
    AxisFraction fraction_;
    std::int64_t t_ns_ = 0;
    std::int64_t t_accel_ns_ = 0;  ///< newest sample
    std::int64_t t_height_ns_ = 0; ///< newest height, used or not
    std::int64_t t_rest_update_ns_ = 0;
    double accel_period_s_ = 0.0; ///< 0: not known yet
    double agitation_mps2_ = 10.0;
    double hold_left_s_ = 0.0; ///< how long `a` is still the newest sample
    bool started_ = false;
    bool have_accel_ = false;
    bool singer_since_sample_ = true;
    Motion motion_ = Motion::rest;
    std::array<Height, 8> waiting_{};
    std::size_t waiting_count_ = 0;
    std::array<Height, 64> rejected_{};
    std::size_t rejected_count_ = 0;
    int rest_rejected_ = 0;
    bool stuck_ = false;
    double stuck_height_m_ = 0.0;
    NisMonitor monitor_;
    std::vector<HeightResult> results_;
};

} // namespace turnstone::estimate
