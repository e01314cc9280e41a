#include "server/estimate/navigation/fix_noise.hpp"

#include <algorithm>
#include <cmath>

#include "shared/time.hpp"

namespace turnstone::estimate {

using Eigen::Vector3d;

namespace {

constexpr double kSettling_m = 15.0;
constexpr double kSettling_mps = 4.0;
constexpr double kSettles_s = 1.0;
constexpr double kSettled = 6.0;     // of kSettles_s, after which nothing of it is left
constexpr double kLevelTime_s = 5.0; // statements of a receiver vary from fix to fix
constexpr double kJump = 2.0;        // of the stated variance: something happened

} // namespace

FixNoise::FixNoise(const SensorNoise& sensors) : sensors_(sensors) {}

void FixNoise::lost(std::int64_t t_ns) {
    if (locked_) lost_ns_ = t_ns;
    locked_ = false;
}

FixNoise::Sigmas FixNoise::of(const FixSample& sample) {
    const double since_s = seconds_between(t_fix_ns_, sample.t_ns);
    if (locked_ && since_s > 0) period_s_ += 0.2 * (std::clamp(since_s, 0.02, 1.0) - period_s_);
    t_fix_ns_ = sample.t_ns;
    if (!locked_) {
        settling_ = lost_ns_ != 0; // the first fixes of all come at rest, where nothing hurries
        locked_ = true;
        locked_ns_ = sample.t_ns;
    }
    const auto stated = [](double reported, double configured) {
        return std::isfinite(reported) && reported > 0 ? std::max(reported, configured) : configured;
    };
    const double horizontal_m = stated(sample.accuracy_horizontal_m, sensors_.fix_horizontal_m);
    const double vertical_m = stated(sample.accuracy_vertical_m, sensors_.fix_vertical_m);
    Sigmas out{.stated_m = Vector3d(horizontal_m, horizontal_m, vertical_m),
               .new_m = {},
               .speed_mps = std::sqrt(scatter_.speed) * stated(sample.speed_accuracy_mps, sensors_.fix_speed_mps)};
    out.new_m = std::sqrt(scatter_.position * std::max(0.0, 1 - sensors_.fix_correlated_share)) * out.stated_m;
    if (settling_) {
        const double age_s = seconds_between(locked_ns_, sample.t_ns);
        if (age_s > kSettled * kSettles_s) settling_ = false;
        const double left = std::exp(-age_s / kSettles_s) * std::sqrt(std::max(1.0, kSettles_s / period_s_));
        out.new_m = out.new_m.unaryExpr([&](double m) { return std::hypot(m, kSettling_m * left); });
        out.speed_mps = std::hypot(out.speed_mps, kSettling_mps * left);
    }
    return out;
}

FixNoise::Wander FixNoise::wander(std::int64_t t_ns, const Vector3d& stated_m) {
    const double since_s = std::max(0.0, seconds_between(t_wander_ns_, t_ns));
    t_wander_ns_ = std::max(t_wander_ns_, t_ns);
    Wander out{.since_s = since_s, .kept = std::exp(-since_s / sensors_.fix_correlation_s), .variance_added_m2 = {}};
    for (int k = 0; k < 3; ++k) {
        const double variance_m2 = stated_m(k) * stated_m(k);
        const double jump_m2 = variance_m2 > kJump * level_m2_(k) ? variance_m2 - level_m2_(k) : 0;
        const double followed = 1 - std::exp(-since_s / kLevelTime_s);
        level_m2_(k) += jump_m2 > 0 ? jump_m2 : followed * (variance_m2 - level_m2_(k));
        out.variance_added_m2(k) = sensors_.fix_correlated_share * ((1 - out.kept * out.kept) * level_m2_(k) + jump_m2);
    }
    return out;
}

void FixNoise::start(std::int64_t t_ns, const Vector3d& stated_m) {
    t_wander_ns_ = t_ns;
    level_m2_ = stated_m.cwiseAbs2();
}

} // namespace turnstone::estimate
