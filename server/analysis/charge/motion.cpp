#include <algorithm>
#include <cmath>

#include <Eigen/Geometry>

#include "server/analysis/charge/parts.hpp"

namespace turnstone::analysis {

namespace {

constexpr double kShockLeast_mps2 = 25;
constexpr double kSnatchLeast_mps2 = 20;
constexpr double kShock_s = 0.006;        ///< that it lasts at least
constexpr double kFirstShock = 0.3;       ///< of the greatest of its sign
constexpr double kFirstSnatch = 0.5;      ///< the same
constexpr double kSnatchOfShock = 0.22;   ///< less is the stand's rebound
constexpr double kMixed = 0.35;           ///< of a long mean: pressure's push and the release are in one reading
constexpr double kAfterRelease_s = 0.003; ///< the release itself swings through zero no sooner
constexpr double kSwing_s = 3.0;          ///< by then a payload on a line hangs still, or it will not
constexpr double kStill = 0.1;            ///< of the greatest turn rate
constexpr double kGyroScale = 0.02;       ///< of an angle; a few per cent are common (no source)
constexpr double kPendulum_s = 0.16;      ///< what swings once a second turns on by its rate times this

/// What the gyro's readings say between two times.
struct Turning {
    Signal size;                                                ///< of the rate
    Eigen::Quaterniond turned = Eigen::Quaterniond::Identity(); ///< takes vectors of the body then to the body before
    double farthest_rad = 0, path_rad = 0;
    double doubt_rad = 0; ///< for holes
    double noise_radps = 0, period_s = kNone;
    bool at_range = false; ///< it turned by more than the angles say
};

/// Absent: a hole, a gyro that stuck, or nothing before to compare with.
std::optional<Turning> integrated(const ChargeRecord& record, double fired_s, double from_s, double until_s) {
    const auto& axes = record.rate_radps;
    Turning out;
    out.period_s = axes[0].period_s();
    const double hole_s = std::max(0.07, 3.5 * out.period_s);
    std::array<Baseline, 3> base;
    for (std::size_t k = 0; k < 3; ++k) {
        base[k] = baseline(axes[k], fired_s);
        if (!base[k].known() || axes[k].longest_gap_s(from_s, until_s) >= hole_s ||
            axes[k].readings.size() != axes[0].readings.size())
            return std::nullopt;
        for (const Reading& reading : axes[k].between(from_s, until_s))
            out.at_range |= std::abs(reading.value) >= 0.998 * record.gyro_range_radps;
        const auto after = axes[k].values_between(fired_s + kWork_s, until_s);
        if (base[k].noise > 0 && !after.empty() && summarise(after).sd == 0) return std::nullopt;
        out.noise_radps = std::max(out.noise_radps, base[k].noise);
    }
    const auto x = axes[0].between(from_s, until_s), y = axes[1].between(from_s, until_s),
               z = axes[2].between(from_s, until_s);
    out.size.mean_over_s = axes[0].mean_over_s;
    Eigen::Vector3d before = Eigen::Vector3d::Zero();
    for (std::size_t i = 0; i < std::min({x.size(), y.size(), z.size()}); ++i) {
        const Eigen::Vector3d rate(x[i].value - base[0].level, y[i].value - base[1].level, z[i].value - base[2].level);
        out.size.readings.push_back({x[i].t_s, rate.norm()});
        if (i > 0) {
            const double dt_s = x[i].t_s - x[i - 1].t_s;
            // A reading is the mean over the step it ends; over a hole the two sides count alike.
            const bool hole = dt_s > 1.5 * out.period_s;
            const Eigen::Vector3d angle = (hole ? Eigen::Vector3d(0.5 * (rate + before)) : rate) * dt_s;
            if (hole) out.doubt_rad += 0.25 * (rate - before).norm() * dt_s;
            const double norm = angle.norm();
            out.path_rad += norm;
            if (norm > 0)
                out.turned = (out.turned * Eigen::Quaterniond(Eigen::AngleAxisd(norm, angle / norm))).normalized();
            out.farthest_rad = std::max(out.farthest_rad, Eigen::Quaterniond::Identity().angularDistance(out.turned));
        }
        before = rate;
    }
    return out;
}

} // namespace

void find_motion(const ChargeRecord& record, ChargeFindings& out) {
    const Signal &burst = record.burst_axial_mps2, &always = record.accel_mps2[0];
    const double from_s = out.fired_s - 0.002, until_s = out.fired_s + kWork_s;
    out.saturated = 0;
    const auto count = [&](const Signal& signal) {
        for (const Reading& reading : signal.between(from_s, until_s + 0.3))
            if (std::abs(reading.value) >= 0.998 * record.accel_range_mps2) out.saturated += 1;
    };
    count(burst);
    for (const Signal& axis : record.accel_mps2) count(axis);

    const Signal* axial = covering(burst, always, from_s, until_s);
    if (axial == nullptr && out.saturated == 0) out.saturated = kNone;
    if (axial == nullptr) return;
    const Baseline base = baseline(*axial, out.fired_s);
    if (!base.known()) return;
    if (is_stuck(*axial, base, from_s, until_s)) {
        if (out.saturated == 0) out.saturated = kNone;
        return;
    }
    const Peak up = greatest(*axial, from_s, until_s, 1, base), down = greatest(*axial, from_s, until_s, -1, base);
    const Peak& shock = up.size.value > down.size.value ? up : down;
    out.shock_mps2 = shock.size;
    // Means over more than a shock lasts hardly show it, and cannot show that there was none.
    const double blur = std::min(1.0, kShock_s / axial->period_s());
    const double least = std::max(kShockLeast_mps2 * blur, 8 * base.noise);
    if (shock.size.value < least) {
        if (blur == 1.0) out.lid_off_seen = out.line_taut_seen = kNo;
        return;
    }
    const auto edge = [&](double after_s, double sign, double threshold, double of_peak) {
        return find_edge(*axial, after_s, until_s, sign,
                         {.level = base.level, .noise = base.noise, .threshold = threshold, .of_peak = of_peak});
    };
    // The first of two that differ in sign: the lid pushes the payload one way, the line pulls it back.
    const Edge back = edge(out.fired_s - 0.02, -1, least, kFirstShock),
               forth = edge(out.fired_s - 0.02, 1, least, kFirstShock);
    const bool is_back = back.found() && !(forth.t_s < back.t_s);
    const Edge& lid = is_back ? back : forth;
    if (!lid.found()) return;
    out.lid_off_seen = kYes;
    const double mixed_s = axial->mean_over_s > 0.5 * kShock_s ? kMixed * axial->mean_over_s : 0;
    out.lid_off_s = {lid.t_s - out.fired_s, std::hypot(lid.sigma_s, out.fired_sigma_s, mixed_s)};
    if (blur < 1) return; // the line's pull cannot be told from the stand's
    const double release_sign = is_back ? -1 : 1;
    const double snatch_least = std::max({kSnatchLeast_mps2, 8 * base.noise, kSnatchOfShock * shock.size.value});
    const Edge line =
        edge(lid.t_s + std::max(kAfterRelease_s, 0.6 * axial->period_s()), -release_sign, snatch_least, kFirstSnatch);
    out.line_taut_seen = line.found() ? kYes : kNo;
    if (!line.found()) return;
    out.line_taut_s = {line.t_s - out.fired_s, std::hypot(line.sigma_s, out.fired_sigma_s)};
    out.free_time_s = {line.t_s - lid.t_s, std::hypot(line.sigma_s, lid.sigma_s)};
}

void find_turning(const ChargeRecord& record, ChargeFindings& out) {
    const Baseline burst = baseline(record.burst_turn_radps, out.fired_s);
    if (burst.known() && !is_stuck(record.burst_turn_radps, burst, out.fired_s, out.fired_s + kWork_s)) {
        const auto side = [&](double sign) {
            return greatest(record.burst_turn_radps, out.fired_s, out.fired_s + kWork_s, sign, burst).size;
        };
        const Measured left = side(-1), right = side(1);
        out.turn_rate_radps = left.value > right.value ? left : right;
    }
    const double until_s = out.fired_s + kSwing_s;
    const auto turning = integrated(record, out.fired_s, out.fired_s - 0.05, until_s);
    if (!turning) return;
    const double noise = turning->noise_radps;
    const Peak fastest = greatest(turning->size, out.fired_s, until_s, 1, {0, noise});
    if (!(out.turn_rate_radps.value > fastest.size.value)) out.turn_rate_radps = fastest.size;
    if (!turning->at_range)
        out.payload_turned_rad = {turning->farthest_rad,
                                  std::hypot(kGyroScale * turning->farthest_rad, turning->doubt_rad,
                                             noise * std::sqrt(kSwing_s * turning->period_s))};
    if (fastest.size.value < 8 * noise) return; // it has not moved: nothing to settle
    const double still = std::max(kStill * fastest.size.value, 5 * noise);
    const Return settled = back_within(turning->size, out.fired_s, until_s, 0, still);
    out.settled_seen = settled.seen;
    if (!settled.at.found()) return;
    out.settled_s = {settled.at.t_s - out.fired_s, std::hypot(settled.at.sigma_s, out.fired_sigma_s)};
}

std::optional<Turn> turn_between(const ChargeRecord& record, const ChargeFindings& found, double from_s,
                                 double until_s) {
    if (found.gyro.alive() != kYes) return std::nullopt;
    const auto turning = integrated(record, found.fired_s, from_s, until_s);
    if (!turning || turning->at_range) return std::nullopt;
    double last_radps = 0; // what still swings then
    for (const Reading& rate : turning->size.between(until_s - 0.5, until_s))
        last_radps = std::max(last_radps, rate.value);
    const double sigma_rad =
        std::hypot(std::hypot(kGyroScale * turning->path_rad, turning->doubt_rad),
                   std::hypot(turning->noise_radps * std::sqrt((until_s - from_s) * turning->period_s),
                              found.gyro.shift * (until_s - from_s)),
                   last_radps * kPendulum_s);
    return Turn{turning->turned, sigma_rad};
}

} // namespace turnstone::analysis
