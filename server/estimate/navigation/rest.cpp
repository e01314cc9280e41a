#include <algorithm>
#include <cmath>
#include <utility>

#include "server/estimate/navigation/carried.hpp"
#include "server/estimate/navigation/navigation.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

using Eigen::Vector3d;

namespace {

constexpr double kMotionSigmas = 4.0;
constexpr double kMotionShown_s = 0.5;
constexpr double kRestShown_s = 2.0;
constexpr double kAwaySigmas = 5.0;
// A silence at rest that may hide a launch, and how long its end waits for a height or a fix.
constexpr double kMayHide_s = 0.5, kMayHideIntervals = 2.5;
constexpr double kDoubted_s = 3.0;
constexpr double kHeightsHeard_s = 2.0;
constexpr double kStands_m = 10.0;
constexpr double kLevel_m = 2.0, kLevelShown_s = 5.0;

} // namespace

/// True with the first sample behind a silence that begins the doubt.
bool Navigation::doubt_rest(const ImuSample& sample, double gap_s) {
    if (silence_ && seconds_between(silence_->over_ns, sample.t_ns) > kDoubted_s) silence_.reset();
    const bool hides = gap_s > std::max(kMayHide_s, kMayHideIntervals * interval_s_);
    if (silence_ || !hides || !resting() || left_rest_ || bank_.empty()) return false;
    silence_ = Silence{last_, sample.t_ns};
    return true;
}

void Navigation::leave_rest(std::int64_t t_ns) {
    if (left_rest_) return;
    left_rest_ = true;
    left_rest_ns_ = t_ns;
    // What began within the last sample, below the threshold, has not been integrated.
    for (NavigationBranch& branch : bank_.all())
        branch.filter().inflate(Eskf::kVelocity, 0.5 * kMoved_mps2 * interval_s_);
    const auto silence = std::exchange(silence_, std::nullopt);
    if (!silence || bank_.empty()) return;
    const double gap_s = seconds_between(silence->before.t_ns, last_.t_ns);
    const double thrust_mps2 = manoeuvre_of(Motion::boost).sigma_mps2.maxCoeff();
    for (NavigationBranch& branch : bank_.all()) {
        branch.bridge(last_.t_ns, silence->before.accel_body_mps2, silence->before.rate_body_radps,
                      last_.accel_body_mps2, last_.rate_body_radps, gap_s, rebooted_);
        branch.filter().inflate(Eskf::kVelocity, thrust_mps2 * gap_s);
        branch.filter().inflate(Eskf::kPosition, 0.5 * thrust_mps2 * gap_s * gap_s);
    }
    lose_bridged_attitude();
}

void Navigation::leave_rest_unfelt(std::int64_t t_ns) {
    moved_unfelt_ = true;
    slow_since_ns_ = 0;
    alignment_.clear();
    leave_rest(t_ns);
}

void Navigation::watch_rest(const EnuFix& fix, const Vector3d& stated_m, std::int64_t t_ns) {
    const Vector3d speed = fix.measured.tail<3>().cwiseQuotient(fix.sigma.tail<3>());
    const bool fast = fix.given(3) > 0 && speed.squaredNorm() > kMotionSigmas * kMotionSigmas;
    const bool away =
        !alignment_.fixes().empty() && (fix.measured.head<2>() - alignment_.fixes().place_enu_m().head<2>()).norm() >
                                           kAwaySigmas * std::hypot(stated_m.x(), fix.sigma(0));
    if (fast || away) {
        slow_since_ns_ = 0;
        if (moving_since_ns_ == 0) moving_since_ns_ = t_ns;
        if (moved_unfelt_ || (!silence_ && seconds_between(moving_since_ns_, t_ns) < kMotionShown_s)) return;
        leave_rest_unfelt(t_ns);
        for (NavigationBranch& branch : bank_.all())
            if (branch.reaches(fix.t_valid_ns)) branch.give_way(branch.see(fix));
        return;
    }
    moving_since_ns_ = 0;
    if (slow_since_ns_ == 0) slow_since_ns_ = t_ns;
    if (seconds_between(slow_since_ns_, t_ns) > kRestShown_s) moved_unfelt_ = false;
    // One of before the launch says nothing of it; nor do receivers that stand still in it, where heights are heard.
    if (silence_ && fix.t_valid_ns > silence_->over_ns && seconds_between(t_height_ns_, t_ns) > kHeightsHeard_s)
        silence_.reset();
}

/// Behind a silence, whether it left; while it is thought to have moved and no fix says so, whether it stands again.
void Navigation::watch_rest(double above_pad_m, double sigma_m, std::int64_t t_ns) {
    if (silence_ && !bank_.empty()) {
        const double away_m = std::abs(above_pad_m - bank_.best().nominal().position_enu_m.z());
        if (away_m > kStands_m + kMotionSigmas * sigma_m)
            leave_rest_unfelt(t_ns);
        else
            silence_.reset();
    }
    if (!(std::abs(above_pad_m - level_m_) <= kLevel_m + kMotionSigmas * sigma_m)) {
        level_m_ = above_pad_m;
        level_since_ns_ = t_ns;
    }
    if (moved_unfelt_ && moving_since_ns_ == 0 && seconds_between(level_since_ns_, t_ns) > kLevelShown_s)
        moved_unfelt_ = false;
}

} // namespace turnstone::estimate
