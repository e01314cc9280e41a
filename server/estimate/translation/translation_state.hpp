#pragma once
/// The states of the translation filter with their prediction and corrections; when each is called, and whether a
/// measurement is believed, is translation_filter.hpp's.
///
///   p v a   position, velocity, acceleration, east-north-up at the pad
///   b       what the receiver's position is off by for a minute or two, first-order Gauss-Markov
///   d       how much older a fix is than its time of validity says
///   m       the pad's height on the receiver's scale: the ellipsoid taken for sea level, a guess in the site file
///   e       what heights from pressure are off by, first-order Gauss-Markov
///
/// A fix is p(t - d) + b + m up and v(t - d), a height is p up + e.
#include <bitset>

#include <Eigen/Core>

#include "server/estimate/math/kalman.hpp"
#include "server/estimate/translation/processes.hpp"

namespace turnstone::estimate {

/// Accelerations to expect, by axis: Singer's process about a mean.
struct Manoeuvre {
    Eigen::Vector3d mean_mps2 = Eigen::Vector3d::Zero();
    Eigen::Vector3d sigma_mps2 = Eigen::Vector3d::Constant(3.0);
    Eigen::Vector3d tau_s = Eigen::Vector3d::Constant(2.0);
    bool may_begin = false; ///< it stands, as far as anybody has noticed: thrust may begin at any moment
};

/// Of a small rocket, up and across.
inline const Manoeuvre kThrust{Eigen::Vector3d::Zero(), {15.0, 15.0, 60.0}, Eigen::Vector3d::Constant(1.0)};

/// 1-sigma of the slow errors.
struct TranslationErrors {
    double fix_tau_s = 80;
    Eigen::Vector3d fix_sigma_m{2.4, 2.4, 3.8};
    double delay_sigma_s = 0.08;
    double datum_sigma_m = 30;
    double height_tau_s = 20;
    double height_delay_sigma_s = 0.06;
};

/// Motion is kept as late as fixes are (kDelay): position and velocity of a fix are late together, and a filter that
/// subtracts the one from the other by its own velocity and acceleration would seem to see by how much. Only heights
/// do, which are told on time.
class TranslationState {
  public:
    enum Part {
        kPosition = 0,
        kUp = 2,
        kVelocity = 3,
        kAcceleration = 6,
        kFixError = 9,
        kDelay = 12,
        kDatum,
        kHeightError
    };
    static constexpr int kSize = 15;
    using Matrix = Eigen::Matrix<double, kSize, kSize>;
    /// As many rows as were measured.
    using Rows = Eigen::Matrix<double, Eigen::Dynamic, kSize, Eigen::RowMajor, 6, kSize>;
    using Values = Eigen::Matrix<double, Eigen::Dynamic, 1, Eigen::ColMajor, 6, 1>;
    using Noise = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::ColMajor, 6, 6>;

    struct Observation {
        Rows rows;
        Values innovation;
        Noise noise;
        /// What only others can teach: its uncertainty counts, its value stays. Fixes cannot show how late they are.
        /// Heights alone cannot show what they are off by: a launch would be taken for it. They do not show how late
        /// fixes are while the vehicle hardly climbs (what they seem to show is the error of its vertical speed), nor
        /// better than they are right and on time themselves.
        std::bitset<kSize> keeps;
    };

    /// Nothing known of the motion; the slow errors as large as told.
    explicit TranslationState(const TranslationErrors& errors);

    void predict(double step_s, const Manoeuvre& manoeuvre, const TranslationErrors& errors);
    /// What predict() multiplies the state by.
    [[nodiscard]] static Matrix transition(double step_s, const Manoeuvre& manoeuvre, const TranslationErrors& errors);
    /// The slow error of heights has this 1-sigma from here on.
    void set_height_error(double sigma_m);
    /// Heights begin again, off by this much: their reference has moved.
    void restart_height_error(double off_m);
    /// Widens by what a manoeuvre that began at once, `step_s` ago, may have done.
    void add_manoeuvre(double step_s, const Manoeuvre& manoeuvre);
    /// One begins here.
    void begin_manoeuvre(const Manoeuvre& manoeuvre);
    /// Motion along an axis begins again, unknown by these sigmas; no longer correlated with anything.
    void place(int axis, double position_m, double velocity_mps, double position_sigma_m, double velocity_sigma_mps);

    /// Of a fix [position, velocity]; components that are NaN are left out. `noise` is the white part.
    [[nodiscard]] Observation of_fix(const Eigen::Matrix<double, 6, 1>& measured,
                                     const Eigen::Matrix<double, 6, 6>& noise) const;
    [[nodiscard]] Observation of_height(double height_m, double noise_m) const;
    /// Of the place itself.
    [[nodiscard]] Observation of_place(const Eigen::Vector3d& position_m, const Eigen::Vector3d& sigma_m) const;

    /// The same on time: position, velocity and acceleration of now. What the delay does to them is taken from `about`,
    /// the motion as it is known best.
    [[nodiscard]] static KalmanState<kSize> on_time(const KalmanState<kSize>& late, const KalmanState<kSize>& about);
    [[nodiscard]] KalmanState<kSize> on_time() const { return on_time(kalman_, kalman_); }

    /// Normalised innovation squared: chi-square of as many degrees of freedom as there are rows.
    [[nodiscard]] double nis(const Observation& observation) const;
    void correct(const Observation& observation);

    [[nodiscard]] Eigen::Vector3d part(Part first) const { return kalman_.x.segment<3>(first); }
    [[nodiscard]] double value(Part at) const { return kalman_.x(at); }
    [[nodiscard]] double sigma(int at) const;
    [[nodiscard]] const Matrix& covariance() const noexcept { return kalman_.covariance; }
    [[nodiscard]] const KalmanState<kSize>& kalman() const noexcept { return kalman_; }
    /// For tests that begin elsewhere.
    [[nodiscard]] KalmanState<kSize>& kalman() noexcept { return kalman_; }

  private:
    void fade(int state, const GaussMarkovStep& step);

    KalmanState<kSize> kalman_;
    double height_error_sigma_m_ = 0, delay_most_s_, height_delay_sigma_s_;
};

} // namespace turnstone::estimate
