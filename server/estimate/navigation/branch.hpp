#pragma once
/// One error-state filter with its recent past: a hypothesis about how the vehicle stood on the pad, flown on.
///
/// The past relates a GNSS fix to the time at which it was true: position and velocity are looked up there, and
/// the derivative of the innovation by today's error follows from motion over the delay, dp(t - d) = dp - d dv, dv(t -
/// d) = dv + d R [a]x dtheta.
#include "server/estimate/math/history.hpp"
#include "server/estimate/navigation/eskf.hpp"
#include "server/estimate/navigation/pad_alignment.hpp"

namespace turnstone::estimate {

/// A fix in ENU; what the receiver did not give has a huge sigma.
struct EnuFix {
    std::int64_t t_valid_ns;
    Eigen::Matrix<double, 6, 1> measured; ///< position m, velocity m/s
    Eigen::Matrix<double, 6, 1> given;    ///< 1 where measured, 0 where not
    double horizontal_sigma_m, vertical_sigma_m, speed_sigma_mps;
};

class NavigationBranch {
  public:
    /// Log likelihood of a measurement, and how badly it fits (chi-square when consistent).
    struct Fit {
        double nis;
        double log_likelihood;
    };

    explicit NavigationBranch(double gravity_mps2);

    void start(const Alignment& alignment, const EskfNoise& noise, std::int64_t t_ns);
    void predict(std::int64_t t_ns, const Eigen::Vector3d& accel_body_mps2, const Eigen::Vector3d& rate_body_radps,
                 double dt_s, double accel_inflation, double gyro_inflation);
    /// From the sample before a gap to the sample after it; `tumbles`: it may have turned any way between them.
    void bridge(std::int64_t t_ns, const Eigen::Vector3d& accel_before_mps2, const Eigen::Vector3d& rate_before_radps,
                const Eigen::Vector3d& accel_after_mps2, const Eigen::Vector3d& rate_after_radps, double gap_s,
                bool tumbles);

    /// False when the past does not reach to `t_ns`.
    [[nodiscard]] bool reaches(std::int64_t t_ns) const;
    [[nodiscard]] Fit fit(const EnuFix& fix) const;
    void correct(const EnuFix& fix);
    [[nodiscard]] Fit fit_height(std::int64_t t_ns, double above_pad_m, double sigma_m) const;
    void correct_height(std::int64_t t_ns, double above_pad_m, double sigma_m);
    /// Widens the covariance until `fix` is believed.
    void give_way(const EnuFix& fix);
    void inflate(Eskf::Part part, double sigma_added) { filter_.inflate(part, sigma_added); }

    [[nodiscard]] const EskfNominal& nominal() const noexcept { return filter_.nominal(); }
    [[nodiscard]] const Eskf& filter() const noexcept { return filter_; }
    double log_weight = 0;

  private:
    struct Past {
        std::int64_t t_ns;
        Eigen::Vector3d position_enu_m, velocity_enu_mps;
    };
    /// Position and velocity of a fix against this branch.
    struct FixObservation {
        Eigen::Matrix<double, 6, 1> innovation;
        Eskf::Observation<6> observation;
        Eigen::Matrix<double, 6, 6> noise;
    };
    [[nodiscard]] Past past(std::int64_t t_ns) const;
    [[nodiscard]] FixObservation observe(const EnuFix& fix) const;
    /// Keeps the past consistent with a correction just made.
    void shift_past(const EskfNominal& before);

    double gravity_mps2_;
    Eskf filter_;
    Eigen::Vector3d accel_enu_mps2_ = Eigen::Vector3d::Zero();
    Eigen::Vector3d force_body_mps2_ = Eigen::Vector3d::Zero();
    History<Past> past_;
};

} // namespace turnstone::estimate
