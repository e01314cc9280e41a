#pragma once
/// Error-state Kalman filter of a strapdown inertial system: the filter alone, without sensors or phases.
///
/// Nominal state   p, v       position and velocity, m and m/s, ENU at the pad (flat, not rotating: a flight of
/// minutes)
///                 q          attitude, Hamilton, scalar first, body to local
///                 ba, bg     accelerometer bias m/s2 and gyro bias rad/s, body axes
///                 gb, d, o   of GNSS fixes: the slowly wandering position error, m; the delay beyond the file's, s;
///                 and
///                            how far their heights lie above the site file's pad for good, m
///                 kh         of pressure altitudes: how many of its own 1-sigmas each slow error is off (by the day's
///                            air; by motion through it: ports and the barometer's delay)
/// Error state     dx = [dp, dv, dtheta, dba, dbg, dgb, dd, do, dkh], 22 numbers, and six that are considered: dtheta
/// is local to the body: q_true = q * exp(dtheta) Considered      ka, kg     what the long axis' force and rate add
/// wrongly to the three axes of their triad: its scale
///                            error and two misalignments, f_measured = f + ba + ka f_x. A flight cannot tell them from
///                            other errors, so they are never corrected, but the gain and every sigma know of them
///                            (Schmidt's consider filter: S. F. Schmidt, Advances in Control Systems 3, 1966; A. H.
///                            Jazwinski, "Stochastic Processes and Filtering Theory", 1970, section 8.4). The other
///                            axes carry little: their caller adds them to the noise.
/// Noise           white on specific force and rate (densities), random walk on both biases
///
/// Equations: J. Sola, "Quaternion kinematics for the error-state Kalman filter", arXiv:1711.02508 (2017), section 5.4
/// (error dynamics, local angular error), section 6 (injection; reset, eq. 287). Increments with the previous-sample
/// coning and sculling terms of P. G. Savage, "Strapdown inertial navigation integration algorithm design", J.
/// Guidance, Control, and Dynamics 21 (1998). Joseph form as in server/estimate/math/kalman.hpp.
#include <optional>

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
    Eigen::Vector3d fix_bias_m = Eigen::Vector3d::Zero();
    double fix_delay_s = 0; ///< beyond the vehicle file's
    double datum_m = 0;     ///< height of fixes above the pad of the site file, at the pad
    Eigen::Vector2d height_error = Eigen::Vector2d::Zero();
};

class Eskf {
  public:
    static constexpr int kEstimated = 22; ///< corrected; what follows them is considered
    static constexpr int kSize = 28;      ///< even, so that columns are computed two numbers at a time
    using Covariance = Eigen::Matrix<double, kSize, kSize>;
    using ErrorVector = Eigen::Matrix<double, kSize, 1>;
    /// Where each part of the error state begins.
    enum Part : int {
        kPosition = 0,
        kVelocity = 3,
        kAttitude = 6,
        kAccelBias = 9,
        kGyroBias = 12,
        kFixBias = 15,
        kFixDelay = 18,
        kDatum = 19,
        kHeightError = 20, ///< by the day's air, then by motion through it
        kAccelScale = kEstimated,
        kGyroScale = 25
    };

    explicit Eskf(const EskfNoise& noise, double gravity_mps2 = kGravityStandard_mps2);

    void reset(const EskfNominal& nominal, const Covariance& covariance);
    /// The same with other noise from now on.
    void reset(const EskfNominal& nominal, const Covariance& covariance, const EskfNoise& noise);
    /// The attitude is begun again, known by this variance about the body axes and not by anything else.
    void reset_attitude(const Eigen::Quaterniond& q_local_body, const Eigen::Vector3d& variance_rad2);

    /// The covariance follows inertial samples in steps of this time, which saves most of the filter's work.
    static constexpr double kGroup_s = 0.02;

    /// One inertial sample: the mean specific force and rate over the last `dt_s` (0 < dt_s, at most a second is
    /// sensible). `accel_inflation` and `gyro_inflation` multiply the noise densities (1: as constructed), for clipped
    /// or doubtful samples.
    void predict(const Eigen::Vector3d& accel_body_mps2, const Eigen::Vector3d& rate_body_radps, double dt_s,
                 double accel_inflation = 1, double gyro_inflation = 1);
    /// Brings the covariance up to the newest sample, as measurements are to find it.
    void settle();
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
    /// As of settle(), or at most kGroup_s ago.
    [[nodiscard]] const Covariance& covariance() const noexcept { return covariance_; }
    /// For a backward pass: from now on follows what becomes of an error, in carried(); false: no longer.
    void carry_errors(bool on);
    /// Of the error when carry_errors() was called, as of settle().
    [[nodiscard]] const std::optional<Covariance>& carried() const noexcept { return carried_; }
    [[nodiscard]] double sigma(int index) const { return std::sqrt(std::max(0.0, covariance_(index, index))); }
    /// Adds to the diagonal, for what the model cannot know, such as a parachute's jerk.
    void inflate(Part part, double sigma_added);
    void inflate(int index, double sigma_added);
    /// Adds to the velocity along one direction of ENU.
    void inflate_velocity(const Eigen::Vector3d& along_enu, double sigma_added);
    /// First-order Gauss-Markov processes over some time: of their value and error the fraction `kept` is left.
    void wander_fix_bias(double kept, const Eigen::Vector3d& variance_added);
    void wander_height_error(double kept_air, double kept_motion); ///< to a variance of 1
    /// Nothing is known of this state any more but its 1-sigma.
    void forget(int index, double sigma);
    /// The horizontal velocity is that of the air, 1-sigma `sigma_mps` of a component, and nothing else tells of it.
    /// `gathered_m2ps`: the covariance of its error with that of the position, which has gone with it so far.
    void drift(const Eigen::Vector2d& air_en_mps, double sigma_mps, double gathered_m2ps);

    /// Nominal state after one sample: what the transition matrix is the derivative of (tests compare the two).
    [[nodiscard]] static EskfNominal propagate(const EskfNominal& from, const Eigen::Vector3d& accel_body_mps2,
                                               const Eigen::Vector3d& rate_body_radps, double dt_s, double gravity_mps2,
                                               const Eigen::Vector3d& coning_rad = Eigen::Vector3d::Zero(),
                                               const Eigen::Vector3d& sculling_mps = Eigen::Vector3d::Zero());
    [[nodiscard]] static Covariance transition(const EskfNominal& from, const Eigen::Vector3d& accel_body_mps2,
                                               const Eigen::Vector3d& rate_body_radps, double dt_s);
    /// Error of `estimate` against `truth`: truth = estimate (+) error.
    [[nodiscard]] static ErrorVector error_of(const EskfNominal& estimate, const EskfNominal& truth);
    /// After the attitude was turned by `turn_rad`, its error is taken about the new one: this times the old error
    /// (Sola eq. 287).
    [[nodiscard]] static Eigen::Matrix3d reset_of(const Eigen::Vector3d& turn_rad);
    /// estimate (+) error
    [[nodiscard]] static EskfNominal plus(const EskfNominal& estimate, const ErrorVector& error);

  private:
    using Columns = Eigen::Matrix<double, kSize, 3>;
    /// Blocks of the transition that are neither zero nor identity.
    struct Step {
        Eigen::Matrix3d velocity_by_attitude, velocity_by_accel, velocity_by_gyro;
        Eigen::Matrix3d attitude_by_attitude, attitude_by_gyro;
        double force_x_mps2, rate_x_radps; ///< what a scale error is a fraction of
        double dt_s;
    };
    /// Samples since the covariance was propagated, added up in ENU, in which they do not turn.
    struct Group {
        void add(const EskfNominal& from, const Eigen::Vector3d& accel_body_mps2,
                 const Eigen::Vector3d& rate_body_radps, double sample_s);
        [[nodiscard]] Step step(const Eigen::Quaterniond& end) const;

        Eigen::Quaterniond begin = Eigen::Quaterniond::Identity();
        Eigen::Vector3d increment_enu_mps = Eigen::Vector3d::Zero();
        /// Integrals of the rotation, as velocity takes it and as attitude does.
        Eigen::Matrix3d turned = Eigen::Matrix3d::Zero(), turns = Eigen::Matrix3d::Zero();
        Eigen::Matrix3d velocity_by_gyro = Eigen::Matrix3d::Zero();
        double force_x_mps = 0, angle_x_rad = 0;
        double velocity_variance = 0, angle_variance = 0;
        double dt_s = 0;
    };
    [[nodiscard]] static Covariance matrix_of(const Step& step);
    void propagate_covariance(const Step& step);
    void fade(int first, int count, double kept);
    void inject(const ErrorVector& error);

    EskfNoise noise_;
    double gravity_mps2_;
    EskfNominal nominal_;
    Covariance covariance_ = Covariance::Identity();
    Eigen::Vector3d previous_angle_rad_ = Eigen::Vector3d::Zero();
    Eigen::Vector3d previous_velocity_mps_ = Eigen::Vector3d::Zero();
    bool has_previous_ = false;
    Group group_;
    std::optional<Covariance> carried_; ///< for a backward pass; empty in the air
};

} // namespace turnstone::estimate
