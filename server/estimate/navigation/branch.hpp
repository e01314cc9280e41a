#pragma once
/// One error-state filter with its recent past: a hypothesis about how the vehicle stood on the pad, flown on.
///
/// The past relates a GNSS fix to the time at which it was true: position and velocity are looked up there, at the
/// delay that the filter itself believes in. The derivative of the innovation by today's error follows from motion over
/// the delay D, with F = integral of specific force over it, ENU: dv(t - D) = dv + [F]x R dtheta + D R (dba + f_x dka),
/// dp(t - D) = dp - D dv - D/2 [F]x R dtheta; by the delay's own error: -v for position, -a for velocity.
#include "server/estimate/math/history.hpp"
#include "server/estimate/navigation/alignment/pad_alignment.hpp"
#include "server/estimate/navigation/backward/attitude_pass.hpp"
#include "server/estimate/navigation/eskf.hpp"

namespace turnstone::estimate {

/// A fix in ENU. The wandering part of its position error is a state of the filter; the sigmas are of what is new in
/// each fix.
struct EnuFix {
    std::int64_t t_valid_ns;              ///< by the file's delay, or the receiver's own time
    bool exact_time;                      ///< the receiver's own
    Eigen::Matrix<double, 6, 1> measured; ///< position m, velocity m/s
    Eigen::Matrix<double, 6, 1> given;    ///< 1 where measured, 0 where not
    Eigen::Matrix<double, 6, 1> sigma;
};

/// Static pressure's height: noise is new in each sample; the slow errors are a constant number of their own 1-sigmas
/// each, which the filter estimates.
struct EnuHeight {
    std::int64_t t_ns;
    double above_pad_m;
    double noise_m;
    Eigen::Vector2d slow_m; ///< 1-sigma by the day's air, by motion through it
};

class NavigationBranch {
  public:
    /// A measurement against this branch.
    template <int M>
    struct Seen {
        Eigen::Matrix<double, M, 1> innovation;
        Eskf::Observation<M> observation;
        Eigen::Matrix<double, M, M> noise;
        Eigen::Matrix<double, M, M> covariance; ///< of the innovation
        [[nodiscard]] double log_likelihood() const;
        /// With this noise in place of its own.
        void widen(const Eigen::Matrix<double, M, M>& noise_now) {
            covariance += noise_now - noise;
            noise = noise_now;
        }
    };

    explicit NavigationBranch(double gravity_mps2);

    void start(const Alignment& alignment, const EskfNoise& noise, std::int64_t t_ns);
    void predict(std::int64_t t_ns, const Eigen::Vector3d& accel_body_mps2, const Eigen::Vector3d& rate_body_radps,
                 double dt_s, double accel_inflation, double gyro_inflation);
    /// One sample of a spin that the gyro cannot follow: the nose keeps its direction, the force along it acts, what
    /// acts across turns too fast to count, and the turn about the nose is unknown.
    void spin(std::int64_t t_ns, double force_x_mps2, double force_across_mps2, double rate_across_radps, double dt_s,
              double accel_inflation);
    /// The force along body axis `axis` is off by `sigma_mps2`, alike over the `since_s` so far (a clipped sensor).
    void doubt_force(int axis, double sigma_mps2, double since_s, double dt_s);
    /// From the sample before a gap to the sample after it; `tumbles`: it may have turned any way between them.
    void bridge(std::int64_t t_ns, const Eigen::Vector3d& accel_before_mps2, const Eigen::Vector3d& rate_before_radps,
                const Eigen::Vector3d& accel_after_mps2, const Eigen::Vector3d& rate_after_radps, double gap_s,
                bool tumbles);
    /// The same flight with another turn about the nose, known to `sigma_rad`.
    void turn(double roll_rad, double sigma_rad);
    /// As Eskf::drift.
    void drift(const Eigen::Vector2d& air_en_mps, double sigma_mps, double gathered_m2ps);
    /// Takes over what `other`, of weight `fraction` of both, knows differently.
    void absorb(const NavigationBranch& other, double fraction);

    /// False when the past does not reach to `t_ns`.
    [[nodiscard]] bool reaches(std::int64_t t_ns) const;
    [[nodiscard]] Seen<6> see(const EnuFix& fix) const;
    [[nodiscard]] Seen<1> see(const EnuHeight& height) const;
    void correct(const Seen<6>& seen);
    void correct(const Seen<1>& seen);
    /// Widens the covariance until a fix seen so is believed.
    void give_way(const Seen<6>& seen);

    [[nodiscard]] const EskfNominal& nominal() const noexcept { return filter_.nominal(); }
    [[nodiscard]] const Eskf& filter() const noexcept { return filter_; }
    [[nodiscard]] Eskf& filter() noexcept { return filter_; }
    /// From here on leaves its steps, which `pass` counts; null: no longer.
    void leave_steps(AttitudePass* pass);
    /// Its steps, the last of them known by `covariance`.
    [[nodiscard]] ErrorTrail trail(const Eskf::Covariance& covariance) const;
    double log_weight = 0;

  private:
    struct Past {
        std::int64_t t_ns;
        Eigen::Vector3d position_enu_m, velocity_enu_mps;
    };
    [[nodiscard]] Past past(std::int64_t t_ns) const;
    void begin_trail();
    /// Around a change to the filter; empty and nothing without a pass.
    [[nodiscard]] std::optional<ErrorEstimate> before_step();
    void leave_step(const std::optional<ErrorEstimate>& before);
    template <int M>
    void correct_with_past(const Seen<M>& seen);

    double gravity_mps2_;
    Eskf filter_;
    double force_x_mps2_ = 0;
    History<Past> past_;                                              ///< less shift_
    Past shift_{0, Eigen::Vector3d::Zero(), Eigen::Vector3d::Zero()}; ///< by the corrections since the start
    AttitudePass* pass_ = nullptr;
    ErrorTrail trail_; ///< empty without a pass
};

} // namespace turnstone::estimate
