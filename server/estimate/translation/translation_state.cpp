#include "server/estimate/translation/translation_state.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include <Eigen/Cholesky>

namespace turnstone::estimate {

using Eigen::Vector3d;

namespace {

constexpr double kDelayMost = 2.0; // sigmas: more is motion that nobody expected
constexpr double kClimbs = 4.0; // sigmas of vertical speed: its error seems to show a sixteenth of what is true at most

} // namespace

TranslationState::TranslationState(const TranslationErrors& errors)
    : delay_most_s_(kDelayMost * errors.delay_sigma_s), height_delay_sigma_s_(errors.height_delay_sigma_s) {
    auto variance = kalman_.covariance.diagonal();
    variance.segment<3>(kFixError) = errors.fix_sigma_m.cwiseAbs2();
    variance(kDelay) = errors.delay_sigma_s * errors.delay_sigma_s;
    variance(kDatum) = errors.datum_sigma_m * errors.datum_sigma_m;
}

/// Axis by axis, since the transition links nothing else: products of whole matrices would cost ten times as much.
void TranslationState::predict(double step_s, const Manoeuvre& manoeuvre, const TranslationErrors& errors) {
    Matrix& p = kalman_.covariance;
    for (int axis = 0; axis < 3; ++axis) {
        const SingerStep step = singer_step(step_s, manoeuvre.tau_s(axis), manoeuvre.sigma_mps2(axis));
        const std::array<int, 3> at{kPosition + axis, kVelocity + axis, kAcceleration + axis};
        const auto moved = [&](auto&& entry) {
            const Vector3d to = step.transition * Vector3d(entry(at[0]), entry(at[1]), entry(at[2]));
            for (int i = 0; i < 3; ++i) entry(at[i]) = to(i);
        };
        for (int column = 0; column < kSize; ++column) moved([&](int row) -> double& { return p(row, column); });
        for (int row = 0; row < kSize; ++row) moved([&](int column) -> double& { return p(row, column); });
        moved([&](int row) -> double& { return kalman_.x(row); });
        const Vector3d mean = manoeuvre.mean_mps2(axis) * singer_mean(step_s, step);
        for (int i = 0; i < 3; ++i) {
            kalman_.x(at[i]) += mean(i);
            for (int k = 0; k < 3; ++k) p(at[i], at[k]) += step.noise(i, k);
        }
        fade(kFixError + axis, gauss_markov_step(step_s, errors.fix_tau_s, errors.fix_sigma_m(axis)));
    }
    fade(kHeightError, gauss_markov_step(step_s, errors.height_tau_s, height_error_sigma_m_));
    p = (0.5 * (p + p.transpose())).eval();
}

TranslationState::Matrix TranslationState::transition(double step_s, const Manoeuvre& manoeuvre,
                                                      const TranslationErrors& errors) {
    Matrix out = Matrix::Identity();
    for (int axis = 0; axis < 3; ++axis) {
        const Eigen::Matrix3d motion =
            singer_step(step_s, manoeuvre.tau_s(axis), manoeuvre.sigma_mps2(axis)).transition;
        for (int i = 0; i < 3; ++i)
            for (int k = 0; k < 3; ++k) out(axis + 3 * i, axis + 3 * k) = motion(i, k);
        out(kFixError + axis, kFixError + axis) = gauss_markov_step(step_s, errors.fix_tau_s, 0).transition;
    }
    out(kHeightError, kHeightError) = gauss_markov_step(step_s, errors.height_tau_s, 0).transition;
    return out;
}

void TranslationState::fade(int state, const GaussMarkovStep& step) {
    kalman_.x(state) *= step.transition;
    kalman_.covariance.row(state) *= step.transition;
    kalman_.covariance.col(state) *= step.transition;
    kalman_.covariance(state, state) += step.variance;
}

void TranslationState::set_height_error(double sigma_m) {
    const double grown = sigma_m * sigma_m - height_error_sigma_m_ * height_error_sigma_m_;
    kalman_.covariance(kHeightError, kHeightError) += std::max(0.0, grown);
    height_error_sigma_m_ = sigma_m;
}

void TranslationState::restart_height_error(double off_m) {
    kalman_.x(kHeightError) = off_m;
    kalman_.covariance.row(kHeightError).setZero();
    kalman_.covariance.col(kHeightError).setZero();
    kalman_.covariance(kHeightError, kHeightError) =
        std::max(off_m * off_m, height_error_sigma_m_ * height_error_sigma_m_);
}

void TranslationState::add_manoeuvre(double step_s, const Manoeuvre& manoeuvre) {
    for (int axis = 0; axis < 3; ++axis) {
        const SingerStep step = singer_step(step_s, manoeuvre.tau_s(axis), manoeuvre.sigma_mps2(axis));
        const double variance = manoeuvre.sigma_mps2(axis) * manoeuvre.sigma_mps2(axis);
        const Eigen::Matrix3d added =
            step.noise + variance * step.transition.col(2) * step.transition.col(2).transpose();
        for (int i = 0; i < 3; ++i)
            for (int j = 0; j < 3; ++j) kalman_.covariance(axis + 3 * i, axis + 3 * j) += added(i, j);
    }
}

void TranslationState::begin_manoeuvre(const Manoeuvre& manoeuvre) {
    kalman_.covariance.diagonal().segment<3>(kAcceleration) += manoeuvre.sigma_mps2.cwiseAbs2();
}

void TranslationState::place(int axis, double position_m, double velocity_mps, double position_sigma_m,
                             double velocity_sigma_mps) {
    constexpr double kAccelerationSigma_mps2 = 30;
    const Vector3d value(position_m, velocity_mps, 0);
    const Vector3d sigma(position_sigma_m, velocity_sigma_mps, kAccelerationSigma_mps2);
    for (int i = 0; i < 3; ++i) {
        const int at = axis + 3 * i;
        kalman_.x(at) = value(i);
        kalman_.covariance.row(at).setZero();
        kalman_.covariance.col(at).setZero();
        kalman_.covariance(at, at) = sigma(i) * sigma(i);
    }
}

TranslationState::Observation TranslationState::of_fix(const Eigen::Matrix<double, 6, 1>& measured,
                                                       const Eigen::Matrix<double, 6, 6>& noise) const {
    Eigen::Matrix<double, 6, kSize> rows = Eigen::Matrix<double, 6, kSize>::Zero();
    Eigen::Matrix<double, 6, 1> expected;
    expected << part(kPosition) + part(kFixError), part(kVelocity);
    expected(2) += kalman_.x(kDatum);
    for (int axis = 0; axis < 3; ++axis) {
        rows(axis, kPosition + axis) = rows(axis, kFixError + axis) = 1;
        rows(3 + axis, kVelocity + axis) = 1;
    }
    rows(2, kDatum) = 1;
    std::array<int, 6> given{};
    int count = 0;
    for (int k = 0; k < 6; ++k)
        if (std::isfinite(measured(k))) given[static_cast<std::size_t>(count++)] = k;
    Observation out{Rows(count, kSize), Values(count), Noise(count, count), {}};
    out.keeps.set(kDelay);
    for (int i = 0; i < count; ++i) {
        const int at = given[static_cast<std::size_t>(i)];
        out.rows.row(i) = rows.row(at);
        out.innovation(i) = measured(at) - expected(at);
        for (int j = 0; j < count; ++j) out.noise(i, j) = noise(at, given[static_cast<std::size_t>(j)]);
    }
    return out;
}

TranslationState::Observation TranslationState::of_height(double height_m, double noise_m) const {
    const double late_s = kalman_.x(kDelay), speed_mps = kalman_.x(kVelocity + 2);
    const double acceleration_mps2 = kalman_.x(kAcceleration + 2);
    Observation out{Rows::Zero(1, kSize), Values(1), Noise(1, 1), {}};
    out.keeps.set(kHeightError);
    out.keeps.set(kDelay, std::abs(speed_mps) < kClimbs * sigma(kVelocity + 2) ||
                              std::abs(speed_mps) * sigma(kDelay) <
                                  std::hypot(height_error_sigma_m_, speed_mps * height_delay_sigma_s_));
    out.rows(0, kUp) = out.rows(0, kHeightError) = 1;
    out.rows(0, kVelocity + 2) = late_s;
    out.rows(0, kAcceleration + 2) = 0.5 * late_s * late_s;
    out.rows(0, kDelay) = speed_mps + late_s * acceleration_mps2;
    out.innovation(0) = height_m - kalman_.x(kHeightError) - kalman_.x(kUp) - late_s * speed_mps -
                        0.5 * late_s * late_s * acceleration_mps2;
    out.noise(0, 0) = noise_m * noise_m;
    return out;
}

KalmanState<TranslationState::kSize> TranslationState::on_time(const KalmanState<kSize>& late,
                                                               const KalmanState<kSize>& about) {
    const double late_s = late.x(kDelay), about_s = about.x(kDelay);
    const Vector3d v = about.x.segment<3>(kVelocity), a = about.x.segment<3>(kAcceleration);
    Matrix rows = Matrix::Identity();
    KalmanState<kSize> out = late;
    for (int axis = 0; axis < 3; ++axis) {
        const double own_a = late.x(kAcceleration + axis);
        out.x(kPosition + axis) += late_s * late.x(kVelocity + axis) + 0.5 * late_s * late_s * own_a;
        out.x(kVelocity + axis) += late_s * own_a;
        rows(kPosition + axis, kVelocity + axis) = rows(kVelocity + axis, kAcceleration + axis) = about_s;
        rows(kPosition + axis, kAcceleration + axis) = 0.5 * about_s * about_s;
        rows(kPosition + axis, kDelay) = v(axis) + about_s * a(axis);
        rows(kVelocity + axis, kDelay) = a(axis);
    }
    out.covariance = rows * late.covariance * rows.transpose();
    return out;
}

TranslationState::Observation TranslationState::of_place(const Vector3d& position_m, const Vector3d& sigma_m) const {
    Observation out{Rows::Zero(3, kSize), position_m - part(kPosition), Noise::Zero(3, 3), {}};
    out.rows.leftCols<3>().setIdentity();
    out.noise.diagonal() = sigma_m.cwiseAbs2();
    return out;
}

double TranslationState::nis(const Observation& observation) const {
    const Noise s = observation.rows * kalman_.covariance * observation.rows.transpose() + observation.noise;
    return observation.innovation.dot(s.llt().solve(observation.innovation));
}

void TranslationState::correct(const Observation& observation) {
    const Rows& h = observation.rows;
    const Rows hp = h * kalman_.covariance;
    const Noise s = hp * h.transpose() + observation.noise;
    const Eigen::LLT<Noise> factor(s);
    using Gain = Eigen::Matrix<double, kSize, Eigen::Dynamic, Eigen::ColMajor, kSize, 6>;
    Gain gain = factor.solve(hp).transpose();
    // S. F. Schmidt, "Application of State-Space Methods to Navigation Problems", Advances in Control Systems 3, 1966:
    // Joseph's form holds for any gain.
    for (int part = 0; part < kSize; ++part)
        if (observation.keeps[static_cast<std::size_t>(part)]) gain.row(part).setZero();
    kalman_.x += gain * observation.innovation;
    kalman_.x(kDelay) = std::clamp(kalman_.x(kDelay), -delay_most_s_, delay_most_s_);
    // It is P - K H P - P H' K' + K S K', and so a symmetric product of two narrow matrices.
    const Gain half = 0.5 * gain.lazyProduct(s) - hp.transpose();
    const Matrix change = half.lazyProduct(gain.transpose());
    kalman_.covariance += change + change.transpose();
}

double TranslationState::sigma(int at) const {
    return std::sqrt(std::max(0.0, kalman_.covariance(at, at)));
}

} // namespace turnstone::estimate
