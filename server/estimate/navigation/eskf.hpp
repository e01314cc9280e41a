#pragma once
/// Error-state Kalman filter of a strapdown inertial system: the filter alone, without sensors or phases.
///
/// Nominal state   p, v       position and velocity, m and m/s, ENU at the pad (flat, not rotating: a flight of
/// minutes)
///                 q          attitude, Hamilton, scalar first, body to local
///                 ba, bg     accelerometer bias m/s2 and gyro bias rad/s, body axes
/// Error state     dx = [dp, dv, dtheta, dba, dbg], 15 numbers; dtheta is local to the body: q_true = q * exp(dtheta)
/// Noise           white on specific force and rate (densities), random walk on both biases
///
/// Equations: J. Sola, "Quaternion kinematics for the error-state Kalman filter", arXiv:1711.02508 (2017), section 5.4
/// (error dynamics, local angular error), section 6 (injection; reset, eq. 287). Increments with the previous-sample
/// coning and sculling terms of P. G. Savage, "Strapdown inertial navigation integration algorithm design", J.
/// Guidance, Control, and Dynamics 21 (1998). Joseph form as in server/estimate/math/kalman.hpp.
#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <Eigen/Geometry>

#include "server/estimate/math/rotation.hpp"
#include "shared/atmosphere.hpp"

namespace turnstone::estimate {

struct EskfNoise {
    double accel_density_mps2_rthz;
    double gyro_density_radps_rthz;
    double accel_bias_walk_mps2_rts;
    double gyro_bias_walk_radps_rts;
};

struct EskfNominal {
    Eigen::Vector3d position_enu_m = Eigen::Vector3d::Zero();
    Eigen::Vector3d velocity_enu_mps = Eigen::Vector3d::Zero();
    Eigen::Quaterniond q_local_body = Eigen::Quaterniond::Identity();
    Eigen::Vector3d accel_bias_mps2 = Eigen::Vector3d::Zero();
    Eigen::Vector3d gyro_bias_radps = Eigen::Vector3d::Zero();
};

class Eskf {
  public:
    static constexpr int kSize = 15;
    using Covariance = Eigen::Matrix<double, kSize, kSize>;
    using ErrorVector = Eigen::Matrix<double, kSize, 1>;
    /// Where each part of the error state begins.
    enum Part : int { kPosition = 0, kVelocity = 3, kAttitude = 6, kAccelBias = 9, kGyroBias = 12 };

    explicit Eskf(const EskfNoise& noise, double gravity_mps2 = kGravityStandard_mps2);

    void reset(const EskfNominal& nominal, const Covariance& covariance);

    /// One inertial sample: the mean specific force and rate over the last `dt_s` (0 < dt_s, at most a second is
    /// sensible). `accel_inflation` and `gyro_inflation` multiply the noise densities (1: as constructed), for clipped
    /// or doubtful samples.
    void predict(const Eigen::Vector3d& accel_body_mps2, const Eigen::Vector3d& rate_body_radps, double dt_s,
                 double accel_inflation = 1, double gyro_inflation = 1);
    /// Forgets the sample before the next one (after a gap): coning and sculling need neighbours.
    void break_increments() noexcept { has_previous_ = false; }

    template <int M>
    using Observation = Eigen::Matrix<double, M, kSize>;

    // These are compiled once, in eskf.cpp, for the M that are used: products of matrices are slow to compile.
    //
    /// H P H' + R: what an innovation's covariance is when consistent.
    template <int M>
    [[nodiscard]] Eigen::Matrix<double, M, M> innovation_covariance(const Observation<M>& observation,
                                                                    const Eigen::Matrix<double, M, M>& noise) const;
    /// Normalised innovation squared that `correct` would have: chi-square with M degrees of freedom when consistent.
    template <int M>
    [[nodiscard]] double nis(const Eigen::Matrix<double, M, 1>& innovation, const Observation<M>& observation,
                             const Eigen::Matrix<double, M, M>& noise) const;
    /// Corrects with `innovation` = measured - predicted, whose derivative by the error state is `observation`.
    template <int M>
    void correct(const Eigen::Matrix<double, M, 1>& innovation, const Observation<M>& observation,
                 const Eigen::Matrix<double, M, M>& noise);

    [[nodiscard]] const EskfNominal& nominal() const noexcept { return nominal_; }
    [[nodiscard]] const Covariance& covariance() const noexcept { return covariance_; }
    [[nodiscard]] double sigma(int index) const { return std::sqrt(std::max(0.0, covariance_(index, index))); }
    /// Adds to the diagonal, for what the model cannot know, such as a parachute's jerk.
    void inflate(Part part, double sigma_added);

    /// Nominal state after one sample: what the transition matrix is the derivative of (tests compare the two).
    [[nodiscard]] static EskfNominal propagate(const EskfNominal& from, const Eigen::Vector3d& accel_body_mps2,
                                               const Eigen::Vector3d& rate_body_radps, double dt_s, double gravity_mps2,
                                               const Eigen::Vector3d& coning_rad = Eigen::Vector3d::Zero(),
                                               const Eigen::Vector3d& sculling_mps = Eigen::Vector3d::Zero());
    [[nodiscard]] static Covariance transition(const EskfNominal& from, const Eigen::Vector3d& accel_body_mps2,
                                               const Eigen::Vector3d& rate_body_radps, double dt_s);
    /// Error of `estimate` against `truth`: truth = estimate (+) error.
    [[nodiscard]] static ErrorVector error_of(const EskfNominal& estimate, const EskfNominal& truth);
    /// estimate (+) error
    [[nodiscard]] static EskfNominal plus(const EskfNominal& estimate, const ErrorVector& error);

  private:
    using Rows = Eigen::Matrix<double, 3, kSize>;
    using Columns = Eigen::Matrix<double, kSize, 3>;
    void propagate_covariance(const Covariance& f);
    void inject(const ErrorVector& error);

    EskfNoise noise_;
    double gravity_mps2_;
    EskfNominal nominal_;
    Covariance covariance_ = Covariance::Identity();
    Eigen::Vector3d previous_angle_rad_ = Eigen::Vector3d::Zero();
    Eigen::Vector3d previous_velocity_mps_ = Eigen::Vector3d::Zero();
    bool has_previous_ = false;
};

} // namespace turnstone::estimate
