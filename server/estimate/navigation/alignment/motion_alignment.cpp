#include "server/estimate/navigation/alignment/motion_alignment.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "shared/time.hpp"

namespace turnstone::estimate {

using Eigen::Matrix3d;
using Eigen::Vector3d;

namespace {

constexpr std::size_t kSums = 2048;
constexpr std::size_t kFixes = 64;
constexpr double kStretchLeast_s = 1.0;
constexpr double kStretchMost_s = 2.5;
constexpr double kLevelledTo_rad = 0.15; // beyond, a linear filter may not find the rest
constexpr double kConsistent = 3.0;      // sigmas between the two lengths of one vector

} // namespace

MotionAlignment::MotionAlignment(const SensorNoise& sensors, double gravity_mps2)
    : sensors_(sensors), gravity_mps2_(gravity_mps2), sums_(kSums), fixes_(kFixes) {}

void MotionAlignment::clear() {
    sums_.clear();
    fixes_.clear();
}

void MotionAlignment::imu(const ImuSample& sample, double dt_s, bool clipped) {
    if (clipped) clear();
    if (sums_.empty()) {
        now_ = {sample.t_ns, Eigen::Quaterniond::Identity(), Vector3d::Zero()};
    } else {
        const Vector3d angle = sample.rate_body_radps * dt_s;
        const Vector3d gained = sample.accel_body_mps2 * dt_s;
        now_.force_mps += now_.q_start_body * (gained + 0.5 * angle.cross(gained));
        now_.q_start_body = (now_.q_start_body * quaternion_from_rotation_vector(angle)).normalized();
        now_.t_ns = sample.t_ns;
    }
    sums_.push(now_);
}

Alignment MotionAlignment::joined(const TranslationEstimate& now, const Alignment& known) {
    Alignment out = known;
    EskfNominal& nominal = out.nominal;
    nominal.position_enu_m = now.position_enu_m;
    nominal.velocity_enu_mps = now.velocity_enu_mps;
    nominal.fix_bias_m = now.fix_errors.head<3>();
    nominal.fix_delay_s = now.fix_errors(3);
    nominal.datum_m = now.fix_errors(4);
    // Where both filters have a state: the place of each in the two.
    constexpr std::array<std::array<int, 2>, 11> kBoth{{{Eskf::kPosition, 0},
                                                        {Eskf::kPosition + 1, 1},
                                                        {Eskf::kPosition + 2, 2},
                                                        {Eskf::kVelocity, 3},
                                                        {Eskf::kVelocity + 1, 4},
                                                        {Eskf::kVelocity + 2, 5},
                                                        {Eskf::kFixBias, 9},
                                                        {Eskf::kFixBias + 1, 10},
                                                        {Eskf::kFixBias + 2, 11},
                                                        {Eskf::kFixDelay, 12},
                                                        {Eskf::kDatum, 13}}};
    const auto forget = [&](int state) {
        out.covariance.row(state).setZero();
        out.covariance.col(state).setZero();
    };
    for (const auto& state : kBoth) forget(state[0]);
    for (int axis = 0; axis < 3; ++axis) forget(Eskf::kAttitude + axis);
    for (const auto& row : kBoth)
        for (const auto& column : kBoth) out.covariance(row[0], column[0]) = now.covariance(row[1], column[1]);
    out.log_weight = 0;
    return out;
}

void MotionAlignment::match(const TranslationEstimate& now, const Alignment& known, std::vector<Alignment>& out) {
    out.clear();
    const Motion fix{now.t_ns, now.velocity_enu_mps, now.covariance.block<3, 3>(3, 3).trace() / 3};
    fixes_.push(fix);
    // The longest stretch that both histories cover; the turn of its end is that of the newest sample before the fix.
    const std::size_t oldest = fixes_.since(fix.t_ns - seconds_to_ns(kStretchMost_s));
    if (sums_.empty()) return;
    std::size_t begin = oldest;
    while (begin < fixes_.size() && fixes_[begin].t_ns < sums_[0].t_ns) ++begin;
    if (begin >= fixes_.size()) return;
    const Motion& first = fixes_[begin];
    const double stretch_s = seconds_between(first.t_ns, fix.t_ns);
    if (stretch_s < kStretchLeast_s) return;
    const auto at = [&](std::int64_t t_ns) -> const Sum& {
        return sums_[std::min(sums_.since(t_ns), sums_.size() - 1)];
    };
    const Sum& from = at(first.t_ns);
    const Sum& to = at(fix.t_ns);
    if (std::abs(seconds_between(to.t_ns, fix.t_ns)) > 0.1) return;

    const double summed_s = seconds_between(from.t_ns, to.t_ns);
    const Vector3d felt_body_mps =
        to.q_start_body.conjugate() * (to.force_mps - from.force_mps) - known.nominal.accel_bias_mps2 * summed_s;
    const Vector3d felt_enu_mps =
        fix.velocity_enu_mps - first.velocity_enu_mps + Vector3d(0, 0, gravity_mps2_ * stretch_s);
    const double length_mps = felt_enu_mps.norm();
    const auto square = [](double x) { return x * x; };
    const double velocity_variance = fix.variance + first.variance;
    const double force_variance =
        square(sensors_.accel_bias_mps2 * stretch_s) +
        square(std::hypot(sensors_.accel_scale, sensors_.accel_misalignment_rad) * length_mps);
    const double sigma_mps = std::sqrt(velocity_variance + force_variance);
    const double across_rad =
        std::hypot(sigma_mps / std::max(length_mps, 1e-3), 0.5 * sensors_.gyro_bias_radps * stretch_s);
    if (across_rad > kLevelledTo_rad || std::abs(felt_body_mps.norm() - length_mps) > kConsistent * sigma_mps) return;

    const double step_rad = 2 * std::numbers::pi / static_cast<double>(PadAlignment::kHypotheses);
    const double about_rad = PadAlignment::kStepFraction * step_rad;
    const Eigen::Quaterniond levelled = shortest_rotation(felt_body_mps, felt_enu_mps);
    const Vector3d axis_body = felt_body_mps.normalized();
    const Vector3d axis_enu = felt_enu_mps.normalized();
    Alignment one = joined(now, known);
    one.covariance.block<3, 3>(Eskf::kAttitude, Eskf::kAttitude) =
        square(across_rad) * Matrix3d::Identity() +
        (square(about_rad) - square(across_rad)) * axis_body * axis_body.transpose();
    // From the end of the sums to the newest sample the vehicle has turned on.
    const Eigen::Quaterniond since = to.q_start_body.conjugate() * now_.q_start_body;
    for (std::size_t k = 0; k < PadAlignment::kHypotheses; ++k) {
        const Vector3d heading = step_rad * static_cast<double>(k) * axis_enu;
        one.nominal.q_local_body = (quaternion_from_rotation_vector(heading) * levelled * since).normalized();
        out.push_back(one);
    }
}

} // namespace turnstone::estimate
