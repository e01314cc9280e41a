#include "server/estimate/vertical/vertical_filter.hpp"

#include <algorithm>
#include <cmath>

#include <Eigen/Dense>

#include "shared/constants.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

namespace {

constexpr double kRestUpdatePeriod_s = 0.1;
constexpr double kRestSpeedSigma_mps = 0.05;
/// Rest contradicted this often in a row (3 s) is not rest: the vehicle is being carried.
constexpr int kRestRejectedMax = 30;
/// Heights that change more slowly than the first while the state's speed exceeds the second come from a stuck
/// barometer.
constexpr double kStandingSpeed_mps = 2.0;
constexpr double kClimbSpeed_mps = 15.0;
constexpr double kUnrestSpeed_mps = 10.0;
constexpr double kUnrestAccel_mps2 = 30.0;
constexpr double kRestSpeedUnknown_mps = 2.0;
constexpr double kRestSpeedAtFirst_mps = 0.2;
/// In descent, without heights for this long, a parachute may have opened.
constexpr double kDescentGap_s = 0.25;
constexpr double kDescentGapSigma_mps2 = 12.0;
constexpr double kRailLean_mps2 = 0.08; ///< 1 - cos(7 degrees), times gravity
/// Two packets of four samples at 200 Hz may be lost before the accelerometer counts as absent.
constexpr double kInertialTimeout_s = 0.1;

} // namespace

VerticalFilter::VerticalFilter(const VerticalSettings& settings) : settings_(settings) {
    reset();
}

void VerticalFilter::reset() {
    state_ = KalmanState<kSize>{};
    fraction_ = AxisFraction{};
    state_.x(kS) = fraction_.mean;
    state_.covariance(kB, kB) = settings_.accel_bias_mps2 * settings_.accel_bias_mps2;
    state_.covariance(kS, kS) = fraction_.sigma * fraction_.sigma;
    state_.covariance(kC, kC) = settings_.port_sigma * settings_.port_sigma;
    state_.x(kD) = settings_.delay_s;
    state_.covariance(kD, kD) = settings_.delay_sigma_s * settings_.delay_sigma_s;
    t_ns_ = t_accel_ns_ = t_height_ns_ = t_rest_update_ns_ = 0;
    accel_period_s_ = 0.0;
    agitation_mps2_ = kGravityStandard_mps2;
    hold_left_s_ = 0.0;
    started_ = have_accel_ = false;
    singer_since_sample_ = true;
    motion_ = Motion::rest;
    waiting_count_ = rejected_count_ = 0;
    rest_rejected_ = 0;
    stuck_ = false;
    monitor_.clear();
    results_.clear();
}

void VerticalFilter::start(std::int64_t t_ns, double altitude_m, double altitude_sigma_m, double speed_mps,
                           double speed_sigma_mps) {
    // The sensors' errors are kept, but no longer correlated with the motion.
    const Vector kept = state_.x;
    const Matrix kept_covariance = state_.covariance;
    const double accel_sigma = singer().sigma_mps2;
    state_.covariance.setZero();
    state_.covariance.bottomRightCorner<4, 4>() = kept_covariance.bottomRightCorner<4, 4>();
    state_.x << altitude_m, speed_mps, 0.0, kept(3), kept(4), kept(5), kept(6);
    state_.covariance(kH, kH) = altitude_sigma_m * altitude_sigma_m;
    state_.covariance(kV, kV) = speed_sigma_mps * speed_sigma_mps;
    state_.covariance(kA, kA) = accel_sigma * accel_sigma;
    t_ns_ = t_ns;
    t_rest_update_ns_ = t_ns;
    started_ = true;
    singer_since_sample_ = false; // acceleration is unknown: the first sample sets it
    hold_left_s_ = 0.0;
    rejected_count_ = 0;
}

VerticalFilter::Singer VerticalFilter::singer() const noexcept {
    // Means, sizes and correlation times of accelerations of small rockets: motor thrust, drag after burnout,
    // parachute.
    switch (motion_) {
    case Motion::rest: return {0.0, 0.05, 1.0};
    case Motion::boost: return {0.0, 60.0, 1.0};
    case Motion::coast: return {-kGravityStandard_mps2, 8.0, 3.0};
    case Motion::descent: return {0.0, agitation_mps2_, 0.7};
    }
    return {0.0, kGravityStandard_mps2, 1.0};
}

bool VerticalFilter::inertial_at(std::int64_t t_ns) const noexcept {
    return have_accel_ && motion_ != Motion::descent && seconds_between(t_accel_ns_, t_ns) < kInertialTimeout_s;
}

void VerticalFilter::set_motion(Motion motion) {
    if (motion == motion_) return;
    const bool inertial = inertial_at(t_ns_);
    // At rest the bias includes the lean of the rail, which acts on the axis the other way in flight.
    if (motion_ == Motion::rest && started_) state_.covariance(kB, kB) += kRailLean_mps2 * kRailLean_mps2;
    motion_ = motion;
    if (motion == Motion::rest && started_)
        start(t_ns_, state_.x(kH), std::sqrt(state_.covariance(kH, kH)), 0.0, kRestSpeedAtFirst_mps);
    if (motion == Motion::boost && !inertial && started_) {
        // The heights left out at rest held the climb: let the next ones decide where the vehicle is.
        state_.covariance(kH, kH) += 400.0;
        state_.covariance(kV, kV) += 2500.0;
        state_.covariance(kA, kA) += 3600.0;
        rejected_count_ = 0;
    } else if (motion == Motion::descent) {
        const double sigma = singer().sigma_mps2;
        state_.covariance(kA, kA) += sigma * sigma;
        singer_since_sample_ = true;
        hold_left_s_ = 0.0;
    }
}

void VerticalFilter::set_descent_agitation(double sigma_mps2) {
    if (!std::isfinite(sigma_mps2)) return;
    agitation_mps2_ = std::clamp(sigma_mps2, 1.0, 60.0);
}

VerticalFilter::Matrix VerticalFilter::walks(double dt_s) const {
    Matrix noise = Matrix::Zero();
    noise(kB, kB) = settings_.accel_bias_walk_mps2_rts * settings_.accel_bias_walk_mps2_rts * dt_s;
    if (motion_ != Motion::rest) {
        noise(kS, kS) = fraction_.walk_rts * fraction_.walk_rts * dt_s;
        noise(kC, kC) = settings_.port_walk_rts * settings_.port_walk_rts * dt_s;
    }
    return noise;
}

void VerticalFilter::propagate_held(double dt_s) {
    Matrix transition = Matrix::Identity();
    transition(kH, kV) = dt_s;
    transition(kH, kA) = 0.5 * dt_s * dt_s;
    transition(kV, kA) = dt_s;
    kalman_predict<kSize>(state_, transition, walks(dt_s));
}

void VerticalFilter::propagate_singer(double dt_s, const Singer& process) {
    const double alpha = 1.0 / process.tau_s;
    const double decay = std::exp(-alpha * dt_s);
    Matrix transition = Matrix::Identity();
    transition(kH, kV) = dt_s;
    transition(kH, kA) = (alpha * dt_s - 1.0 + decay) / (alpha * alpha);
    transition(kV, kA) = (1.0 - decay) / alpha;
    transition(kA, kA) = decay;
    const double q = 2.0 * process.sigma_mps2 * process.sigma_mps2 * alpha;
    // Singer 1970 eq. 16 loses all digits for short steps; there, white jerk of the same density is exact to alpha dt.
    Matrix noise = walks(dt_s);
    const double d = dt_s;
    if (alpha * d < 0.05) {
        noise(kH, kH) = q * d * d * d * d * d / 20.0;
        noise(kH, kV) = q * d * d * d * d / 8.0;
        noise(kH, kA) = q * d * d * d / 6.0;
        noise(kV, kV) = q * d * d * d / 3.0;
        noise(kV, kA) = q * d * d / 2.0;
        noise(kA, kA) = q * d;
    } else {
        const double e1 = decay, e2 = decay * decay, ad = alpha * d;
        noise(kH, kH) = q / (2.0 * std::pow(alpha, 5)) *
                        (1.0 - e2 + 2.0 * ad + 2.0 * ad * ad * ad / 3.0 - 2.0 * ad * ad - 4.0 * ad * e1);
        noise(kH, kV) = q / (2.0 * std::pow(alpha, 4)) * (e2 + 1.0 - 2.0 * e1 + 2.0 * ad * e1 - 2.0 * ad + ad * ad);
        noise(kH, kA) = q / (2.0 * std::pow(alpha, 3)) * (1.0 - e2 - 2.0 * ad * e1);
        noise(kV, kV) = q / (2.0 * std::pow(alpha, 3)) * (4.0 * e1 - 3.0 - e2 + 2.0 * ad);
        noise(kV, kA) = q / (2.0 * alpha * alpha) * (e2 + 1.0 - 2.0 * e1);
        noise(kA, kA) = q / (2.0 * alpha) * (1.0 - e2);
    }
    noise(kV, kH) = noise(kH, kV);
    noise(kA, kH) = noise(kH, kA);
    noise(kA, kV) = noise(kV, kA);
    const double mean = process.mean_mps2;
    state_.x(kA) -= mean;
    kalman_predict<kSize>(state_, transition, noise);
    state_.x(kH) += 0.5 * mean * d * d;
    state_.x(kV) += mean * d;
    state_.x(kA) += mean;
}

void VerticalFilter::propagate_to(std::int64_t t_ns) {
    double left_s = seconds_between(t_ns_, t_ns);
    if (left_s <= 0.0) return;
    t_ns_ = t_ns;
    const double held_s = std::min(left_s, hold_left_s_);
    if (held_s > 0.0) {
        propagate_held(held_s);
        hold_left_s_ -= held_s;
        left_s -= held_s;
    }
    if (left_s <= 1e-9) return;
    Singer process = singer();
    // In a gap of the accelerometer thrust may begin or end, unless it has ended already.
    if (have_accel_ && (motion_ == Motion::rest || motion_ == Motion::boost)) process = {process.mean_mps2, 60.0, 1.0};
    if (motion_ == Motion::descent && seconds_between(t_height_ns_, t_ns) > kDescentGap_s)
        process.sigma_mps2 = std::max(process.sigma_mps2, kDescentGapSigma_mps2);
    singer_since_sample_ = true;
    while (left_s > 0.0) {
        const double step_s = std::min(left_s, 0.25);
        propagate_singer(step_s, process);
        left_s -= step_s;
    }
}

void VerticalFilter::accelerometer(std::int64_t t_ns, double accel_up_mps2, double sigma_mps2, double force_mps2,
                                   const AxisFraction& fraction) {
    if (!std::isfinite(accel_up_mps2) || !std::isfinite(sigma_mps2) || !std::isfinite(force_mps2)) return;
    if (have_accel_ && t_ns <= t_accel_ns_) return;
    take_waiting(t_ns);
    if (have_accel_) {
        const double period_s = seconds_between(t_accel_ns_, t_ns);
        // The shortest recent spacing is the sensor's; longer ones are lost samples.
        accel_period_s_ = accel_period_s_ == 0.0 ? period_s : std::min(period_s, 1.02 * accel_period_s_);
    }
    have_accel_ = true;
    t_accel_ns_ = t_ns;
    if (!started_ || motion_ == Motion::descent) return;
    propagate_to(t_ns);
    if (!(fraction == fraction_)) {
        fraction_ = fraction;
        state_.x(kS) = fraction.mean;
        state_.covariance.row(kS).setZero();
        state_.covariance.col(kS).setZero();
        state_.covariance(kS, kS) = fraction.sigma * fraction.sigma;
    }
    const double variance = sigma_mps2 * sigma_mps2;
    if (singer_since_sample_) {
        Row observation;
        observation << 0.0, 0.0, 1.0, 1.0, force_mps2, 0.0, 0.0;
        const Eigen::Matrix<double, 1, 1> noise(variance);
        const auto innovation =
            kalman_innovation<kSize, 1>(state_, Eigen::Matrix<double, 1, 1>(accel_up_mps2), observation, noise);
        kalman_correct<kSize, 1>(state_, innovation, observation, noise);
        singer_since_sample_ = false;
    }
    const Vector error_row =
        (state_.covariance.row(kB) + force_mps2 * state_.covariance.row(kS)).transpose(); // of b + s f with all states
    state_.x(kA) = accel_up_mps2 - state_.x(kB) - force_mps2 * state_.x(kS);
    state_.covariance.row(kA) = -error_row.transpose();
    state_.covariance.col(kA) = -error_row;
    state_.covariance(kA, kA) = error_row(kB) + force_mps2 * error_row(kS) + variance;
    hold_left_s_ = std::min(1.5 * (accel_period_s_ > 0.0 ? accel_period_s_ : kHoldMax_s), kHoldMax_s);
    rest_update();
}

void VerticalFilter::rest_update() {
    if (!settings_.rest_updates || motion_ != Motion::rest) return;
    if (seconds_between(t_rest_update_ns_, t_ns_) < kRestUpdatePeriod_s) return;
    t_rest_update_ns_ = t_ns_;
    // After a gap anything may have begun: find speed from heights first, then believe that it is zero.
    if (state_.covariance(kV, kV) > kRestSpeedUnknown_mps * kRestSpeedUnknown_mps) return;
    Row observation;
    observation << 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0;
    const Eigen::Matrix<double, 1, 1> noise(kRestSpeedSigma_mps * kRestSpeedSigma_mps);
    const auto innovation = kalman_innovation<kSize, 1>(state_, Eigen::Matrix<double, 1, 1>(0.0), observation, noise);
    if (innovation.nis <= settings_.gate_nis) {
        kalman_correct<kSize, 1>(state_, innovation, observation, noise);
        rest_rejected_ = 0;
    } else if (++rest_rejected_ >= kRestRejectedMax) {
        rest_rejected_ = 0;
        state_.x(kB) = 0.0;
        state_.covariance.row(kB).setZero();
        state_.covariance.col(kB).setZero();
        state_.covariance(kB, kB) = settings_.accel_bias_mps2 * settings_.accel_bias_mps2;
        start(t_ns_, state_.x(kH), 10.0, 0.0, 1.0);
    }
}

void VerticalFilter::height(std::int64_t t_ns, double altitude_m, double sigma_m, double port_m, double speed_mps) {
    if (!std::isfinite(altitude_m) || !(sigma_m > 0.0) || !std::isfinite(port_m) || !std::isfinite(speed_mps)) return;
    const Height height{t_ns, altitude_m, sigma_m, port_m, speed_mps};
    if (started_ && seconds_between(std::max(t_height_ns_, t_accel_ns_), t_ns) > kStaleReset_s) started_ = false;
    if (!started_) {
        start_from(height);
        return;
    }
    if (inertial_at(t_ns) && t_ns > t_accel_ns_) {
        if (waiting_count_ == waiting_.size()) take_waiting(waiting_[0].t_ns);
        std::size_t place = waiting_count_++;
        for (; place > 0 && waiting_[place - 1].t_ns > t_ns; --place) waiting_[place] = waiting_[place - 1];
        waiting_[place] = height;
        return;
    }
    apply_height(height);
}

void VerticalFilter::start_from(const Height& height) {
    waiting_count_ = 0;
    t_height_ns_ = height.t_ns;
    start(height.t_ns, height.altitude_m, height.sigma_m, 0.0, motion_ == Motion::rest ? 1.0 : 100.0);
    results_.push_back({height.t_ns, 0.0, 0.0, HeightVerdict::used, true, false});
}

void VerticalFilter::take_waiting(std::int64_t up_to_t_ns) {
    std::size_t taken = 0;
    while (taken < waiting_count_ && waiting_[taken].t_ns <= up_to_t_ns) apply_height(waiting_[taken++]);
    if (taken == 0) return;
    std::copy(waiting_.begin() + static_cast<std::ptrdiff_t>(taken),
              waiting_.begin() + static_cast<std::ptrdiff_t>(waiting_count_), waiting_.begin());
    waiting_count_ -= taken;
}

void VerticalFilter::advance(std::int64_t t_ns) {
    take_waiting(t_ns - seconds_to_ns(kHeightWait_s));
    const bool heard = seconds_between(std::max(t_height_ns_, t_accel_ns_), t_ns) < kCoastThrough_s;
    if (started_ && heard && !inertial_at(t_ns)) propagate_to(t_ns - seconds_to_ns(kHeightWait_s));
}

void VerticalFilter::apply_height(const Height& height) {
    const double late_s = seconds_between(height.t_ns, t_ns_);
    if (late_s > kHeightLate_s) {
        results_.push_back({height.t_ns, 0.0, 0.0, HeightVerdict::too_old, false, false});
        return;
    }
    propagate_to(height.t_ns);
    t_height_ns_ = std::max(t_height_ns_, height.t_ns);
    Row observation;
    const double ago_s = std::max(0.0, late_s);
    observation << 1.0, -ago_s, 0.5 * ago_s * ago_s, 0.0, 0.0, -height.port_m, -height.speed_mps;
    const Eigen::Matrix<double, 1, 1> noise(height.sigma_m * height.sigma_m);
    const auto innovation =
        kalman_innovation<kSize, 1>(state_, Eigen::Matrix<double, 1, 1>(height.altitude_m), observation, noise);
    monitor_.add(innovation.nis);
    HeightResult result{height.t_ns, innovation.value(0), innovation.nis, HeightVerdict::used, false, false};
    if (innovation.nis <= settings_.gate_nis) {
        kalman_correct<kSize, 1>(state_, innovation, observation, noise);
        rejected_count_ = 0;
    } else if (!recover(height, result.stuck)) {
        result.verdict = HeightVerdict::gated;
        if (motion_ == Motion::rest && !inertial_at(t_ns_) && rejected_count_ >= 3) {
            // Heights alone show that it leaves rest: perhaps a flight. Speed is unknown from here.
            state_.covariance(kV, kV) += kUnrestSpeed_mps * kUnrestSpeed_mps;
            state_.covariance(kA, kA) += kUnrestAccel_mps2 * kUnrestAccel_mps2;
        }
    } else {
        result.restarted = true;
    }
    results_.push_back(result);
}

/// Keeps the heights left out in a row; true when they show that the filter is wrong and it has restarted from them.
bool VerticalFilter::recover(const Height& height, bool& stuck) {
    const double needed_s = inertial_at(t_ns_) ? kRecoveryInertial_s : kRecoveryHeightOnly_s;
    if (rejected_count_ == rejected_.size()) {
        // Thin out by two, so that a long run of a fast sensor still spans the needed time.
        for (std::size_t i = 0; i < rejected_.size() / 2; ++i) rejected_[i] = rejected_[2 * i + 1];
        rejected_count_ /= 2;
    }
    rejected_[rejected_count_++] = height;
    if (rejected_count_ < 6 || seconds_between(rejected_[0].t_ns, height.t_ns) < needed_s) return false;

    // Parabola through the last `needed_s`, time from the newest height.
    Eigen::Matrix3d normal = Eigen::Matrix3d::Zero();
    Eigen::Vector3d right = Eigen::Vector3d::Zero();
    double mean_variance = 0.0;
    int used = 0;
    for (std::size_t i = 0; i < rejected_count_; ++i) {
        const double t = seconds_between(height.t_ns, rejected_[i].t_ns);
        if (t < -needed_s) continue;
        const Eigen::Vector3d basis(1.0, t, 0.5 * t * t);
        normal += basis * basis.transpose();
        right += basis * rejected_[i].altitude_m;
        mean_variance += rejected_[i].sigma_m * rejected_[i].sigma_m;
        ++used;
    }
    if (used < 6) return false;
    mean_variance /= used;
    const Eigen::Matrix3d inverse = normal.inverse();
    const Eigen::Vector3d fit = inverse * right;
    double residual = 0.0;
    for (std::size_t i = 0; i < rejected_count_; ++i) {
        const double t = seconds_between(height.t_ns, rejected_[i].t_ns);
        if (t < -needed_s) continue;
        const double e = rejected_[i].altitude_m - fit(0) - fit(1) * t - 0.5 * fit(2) * t * t;
        residual += e * e;
    }
    const double residual_variance = residual / (used - 3);
    if (residual_variance > 9.0 * mean_variance + 1.0) {
        // Not one motion: keep the newer half and go on looking.
        std::copy(rejected_.begin() + static_cast<std::ptrdiff_t>(rejected_count_ / 2),
                  rejected_.begin() + static_cast<std::ptrdiff_t>(rejected_count_), rejected_.begin());
        rejected_count_ -= rejected_count_ / 2;
        return false;
    }
    const bool flying = motion_ == Motion::boost || motion_ == Motion::coast;
    const bool standing = std::fabs(fit(1)) < kStandingSpeed_mps;
    const bool contradicted = flying && inertial_at(t_ns_) && std::fabs(state_.x(kV)) > kClimbSpeed_mps;
    const bool as_before = stuck_ && std::fabs(fit(0) - stuck_height_m_) < 2.0 + 3.0 * std::sqrt(mean_variance);
    if (standing && motion_ != Motion::rest && (contradicted || as_before)) {
        // Once stuck it stays stuck at that height, even where the vehicle is slow (apogee).
        stuck = stuck_ = true;
        stuck_height_m_ = fit(0);
        return false;
    }
    stuck_ = false;
    const double scale = std::max(residual_variance, mean_variance);
    start(t_ns_, fit(0), std::sqrt(scale * inverse(0, 0)) + std::sqrt(mean_variance), fit(1),
          3.0 * std::sqrt(scale * inverse(1, 1)) + 1.0);
    state_.x(kA) = motion_ == Motion::rest ? 0.0 : fit(2);
    return true;
}

VerticalEstimate VerticalFilter::estimate() const {
    VerticalEstimate out;
    out.t_ns = t_ns_;
    out.valid = started_;
    out.inertial = inertial_at(t_ns_);
    out.altitude_m = state_.x(kH);
    out.altitude_sigma_m = std::sqrt(state_.covariance(kH, kH));
    out.vertical_speed_mps = state_.x(kV);
    out.vertical_speed_sigma_mps = std::sqrt(state_.covariance(kV, kV));
    out.acceleration_mps2 = state_.x(kA);
    out.acceleration_sigma_mps2 = std::sqrt(state_.covariance(kA, kA));
    out.accel_bias_mps2 = state_.x(kB);
    out.accel_bias_sigma_mps2 = std::sqrt(state_.covariance(kB, kB));
    out.axis_fraction = state_.x(kS);
    out.axis_fraction_sigma = std::sqrt(state_.covariance(kS, kS));
    out.port_coefficient = state_.x(kC);
    out.port_coefficient_sigma = std::sqrt(state_.covariance(kC, kC));
    out.delay_s = state_.x(kD);
    out.delay_sigma_s = std::sqrt(state_.covariance(kD, kD));
    out.nis = monitor_.last();
    out.nis_mean = monitor_.mean();
    out.health = monitor_.health();
    return out;
}

std::vector<HeightResult> VerticalFilter::take_results() {
    std::vector<HeightResult> out;
    out.swap(results_);
    return out;
}

} // namespace turnstone::estimate
