#include "server/estimate/chain/onboard_report.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "server/estimate/math/angles.hpp"
#include "server/estimate/math/rotation.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

using Eigen::Vector3d;

namespace {

constexpr double kJudged_s = 2.0;
constexpr double kEnough_s = 0.5;
constexpr double kDiffers = 4.0; // mean square
constexpr double kCap = 100.0;   // one wild value must not judge the next two seconds
// Both ends are wrong by as much.
constexpr double kBothEnds = std::numbers::sqrt2;

OnboardDifference difference(double value, double ground_sigma) {
    return {value, kBothEnds * ground_sigma};
}

} // namespace

void AgreementMonitor::add(std::int64_t t_ns, double difference, double sigma) noexcept {
    const double ratio = difference / sigma;
    if (!std::isfinite(ratio)) return;
    const double passed_s = t_ns_ == 0 ? 0 : std::clamp(seconds_between(t_ns_, t_ns), 0.0, kJudged_s);
    t_ns_ = t_ns;
    seen_s_ = std::min(seen_s_ + passed_s, kJudged_s);
    const double part = seen_s_ > 0 ? std::min(1.0, passed_s / seen_s_) : 1.0;
    mean_ += part * (std::min(ratio * ratio, kCap) - mean_);
}

Agreement AgreementMonitor::verdict() const noexcept {
    if (seen_s_ < kEnough_s) return Agreement::not_enough_data;
    return mean_ > kDiffers ? Agreement::differs : Agreement::consistent;
}

TableOf<OnboardComparison> onboard_comparison_table() {
    using S = const OnboardComparison&;
    constexpr const char* kGroup = "Ground − on board";
    TableOf<OnboardComparison> table{"onboard_comparison", "Ground − on board", 0.1};
    const auto add = [&](OnboardComparison::Quantity quantity, const char* stem, Column column, int sigma_decimals,
                         bool is_angle) {
        const auto shown = [is_angle](double value) { return is_angle ? degrees(value) : value; };
        const std::string title = column.title;
        table.add(std::move(column), [=](S c) { return shown(c.of[quantity].value); })
            .sigma([=](S c) { return shown(c.of[quantity].sigma); }, sigma_decimals)
            .add({std::string(stem) + "_verdict", title + ", verdict", "1", kGroup, 0,
                  "Whether the differences of the last seconds are of the size to expect", enumeration<Agreement>()},
                 [=](S c) { return static_cast<double>(c.of[quantity].verdict); });
    };
    using enum OnboardComparison::Quantity;
    add(kAltitude, "altitude", {"altitude_m", "Altitude AGL", "m", kGroup, 1}, 1, false);
    add(kVerticalSpeed, "vertical_speed", {"vertical_speed_mps", "Vertical speed", "m/s", kGroup}, 2, false);
    add(kSpeed, "speed", {"speed_mps", "Speed", "m/s", kGroup}, 2, false);
    add(kAttitude, "attitude", {"attitude_deg", "Attitude", "deg", kGroup, 1, "Angle between the two attitudes"}, 1,
        true);
    add(kLongAxis, "long_axis",
        {"long_axis_deg", "Pointing", "deg", kGroup, 1, "Angle between the two pointing directions"}, 1, true);
    return table;
}

OnboardReport::OnboardReport(std::vector<TableDescription>& tables) : rows_(onboard_comparison_table(), tables) {}

void OnboardReport::write(const OnboardSample& onboard, const VerticalEstimate& vertical,
                          const TranslationEstimate& translation, const Navigation* navigation, EstimateSink& sink) {
    using enum OnboardComparison::Quantity;
    OnboardComparison row;
    if (vertical.valid) {
        const double later_s = seconds_between(vertical.t_ns, onboard.t_ns);
        row.of[kAltitude] = difference(vertical.altitude_m + later_s * vertical.vertical_speed_mps - onboard.altitude_m,
                                       vertical.altitude_sigma_m);
        row.of[kVerticalSpeed] =
            difference(vertical.vertical_speed_mps + later_s * vertical.acceleration_mps2 - onboard.vertical_speed_mps,
                       vertical.vertical_speed_sigma_mps);
    }
    const NavigationEstimate e = navigation != nullptr ? navigation->estimate() : NavigationEstimate{};
    if (e.valid) {
        row.of[kSpeed] = difference(e.velocity_enu_mps.norm() - onboard.speed_mps,
                                    e.velocity_sigma_mps.norm() / std::numbers::sqrt3);
    } else if (translation.valid) {
        row.of[kSpeed] = difference(translation.velocity_enu_mps.norm() - onboard.speed_mps,
                                    translation.velocity_sigma_mps().norm() / std::numbers::sqrt3);
    }
    if (e.valid && onboard.q_local_body.coeffs().allFinite() && onboard.q_local_body.norm() > 0.5) {
        const double turned_s = seconds_between(e.t_ns, onboard.t_ns);
        const Eigen::Quaterniond ours = e.q_local_body * quaternion_from_rotation_vector(e.rate_body_radps * turned_s);
        const Eigen::Quaterniond theirs = onboard.q_local_body.normalized();
        const Vector3d a = ours * Vector3d::UnitX();
        const Vector3d b = theirs * Vector3d::UnitX();
        row.of[kAttitude] = difference(ours.angularDistance(theirs), e.attitude_sigma_rad.norm());
        row.of[kLongAxis] = difference(std::atan2(a.cross(b).norm(), a.dot(b)), e.attitude_sigma_rad.tail<2>().norm());
    }
    bool any = false;
    for (std::size_t k = 0; k < row.of.size(); ++k) {
        OnboardDifference& of = row.of[k];
        any |= std::isfinite(of.value);
        monitors_[k].add(onboard.t_ns, of.value, of.sigma);
        if (std::isfinite(of.value)) of.verdict = monitors_[k].verdict();
    }
    if (any) rows_.write(onboard.t_ns, row, sink);
}

} // namespace turnstone::estimate
