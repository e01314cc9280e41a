// How the vertical filter finds back: to heights that agree among themselves while it agrees with none of them.
#include <algorithm>
#include <cmath>

#include <Eigen/Dense>

#include "server/estimate/vertical/vertical_filter.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

using namespace vertical_states;

namespace {

/// Heights that change more slowly than the first while the state's speed exceeds the second come from a stuck
/// barometer.
constexpr double kStandingSpeed_mps = 2.0;
constexpr double kClimbSpeed_mps = 15.0;

} // namespace

bool VerticalFilter::as_stuck(double altitude_m, double sigma_m) const noexcept {
    return stuck_ && std::fabs(altitude_m - stuck_height_m_) < 2.0 + 3.0 * sigma_m;
}

/// Keeps the heights left out in a row; true when they show that the filter is wrong and it has restarted from them.
bool VerticalFilter::recover(const Height& height, bool& stuck) {
    const double least_s = inertial_at(t_ns_) ? kRecoveryInertial_s : kRecoveryHeightOnly_s;
    const double needed_s = std::max(least_s, static_cast<double>(kRecoveryHeights) * height_period_s_);
    if (rejected_count_ == rejected_.size()) {
        // Thin out by two, so that a long run of a fast sensor still spans the needed time.
        for (std::size_t i = 0; i < rejected_.size() / 2; ++i) rejected_[i] = rejected_[2 * i + 1];
        rejected_count_ /= 2;
    }
    rejected_[rejected_count_++] = height;
    if (fixes_agree()) return false;
    if (rejected_count_ < kRecoveryHeights ||
        seconds_between(rejected_[0].t_ns, height.t_ns) < needed_s - 1.5 * height_period_s_)
        return false;

    // Parabola through the last `needed_s`, time from the newest height.
    Eigen::Matrix3d normal = Eigen::Matrix3d::Zero();
    Eigen::Vector3d right = Eigen::Vector3d::Zero();
    double mean_variance = 0.0;
    std::size_t used = 0;
    for (std::size_t i = 0; i < rejected_count_; ++i) {
        const double t = seconds_between(height.t_ns, rejected_[i].t_ns);
        if (t < -needed_s) continue;
        const Eigen::Vector3d basis(1.0, t, 0.5 * t * t);
        normal += basis * basis.transpose();
        right += basis * rejected_[i].altitude_m;
        mean_variance += rejected_[i].sigma_m * rejected_[i].sigma_m;
        ++used;
    }
    if (used < kRecoveryHeights) return false;
    mean_variance /= static_cast<double>(used);
    const Eigen::Matrix3d inverse = normal.inverse();
    const Eigen::Vector3d fit = inverse * right;
    double residual = 0.0;
    for (std::size_t i = 0; i < rejected_count_; ++i) {
        const double t = seconds_between(height.t_ns, rejected_[i].t_ns);
        if (t < -needed_s) continue;
        const double e = rejected_[i].altitude_m - fit(0) - fit(1) * t - 0.5 * fit(2) * t * t;
        residual += e * e;
    }
    const double residual_variance = residual / static_cast<double>(used - 3);
    if (residual_variance > 9.0 * mean_variance + 1.0) {
        // Not one motion: keep the newer half and go on looking.
        std::copy(rejected_.begin() + static_cast<std::ptrdiff_t>(rejected_count_ / 2),
                  rejected_.begin() + static_cast<std::ptrdiff_t>(rejected_count_), rejected_.begin());
        rejected_count_ -= rejected_count_ / 2;
        return false;
    }
    const bool flying = motion_ == Motion::boost || motion_ == Motion::coast;
    const bool standing = std::fabs(fit(1)) < kStandingSpeed_mps;
    const bool contradicted = flying && inertial_at(t_ns_) && std::fabs(flight().x(kV)) > kClimbSpeed_mps;
    const bool as_before = as_stuck(fit(0), std::sqrt(mean_variance));
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
    relate_to_day(height.day_m);
    if (motion_ != Motion::rest) flight().x(kA) = fit(2);
    return true;
}

} // namespace turnstone::estimate
