#include "server/estimate/navigation/backward/attitude_pass.hpp"

#include <algorithm>
#include <span>
#include <utility>

#include <Eigen/LU>

#include "server/estimate/smoothing/rts.hpp"

namespace turnstone::estimate {

using Eigen::Matrix3d;

namespace {

Eskf::Covariance with_attitude_in(const Eskf::Covariance& covariance, const Matrix3d& axes) {
    Eskf::Covariance out = covariance;
    out.middleRows<3>(Eskf::kAttitude) = axes * covariance.middleRows<3>(Eskf::kAttitude);
    const Eigen::Matrix<double, Eskf::kSize, 3> columns = out.middleCols<3>(Eskf::kAttitude) * axes.transpose();
    out.middleCols<3>(Eskf::kAttitude) = columns;
    return out;
}

AttitudeAt attitude_at(std::int64_t t_ns, const ErrorEstimate& estimate) {
    return {t_ns, estimate.nominal.q_local_body, estimate.covariance.block<3, 3>(Eskf::kAttitude, Eskf::kAttitude)};
}

} // namespace

ErrorStep::ErrorStep(std::int64_t t_ns, const Eskf::Covariance& transition, const ErrorEstimate& predicted,
                     const ErrorEstimate& corrected)
    : t_ns_(t_ns), mixed_(transition.topRows<kMixed>()), diagonal_(transition.diagonal().tail<Eskf::kSize - kMixed>()),
      predicted_(predicted.nominal), corrected_(corrected.nominal), predicted_covariance_(packed(predicted.covariance)),
      corrected_covariance_(packed(corrected.covariance)) {}

ErrorStep::Triangle ErrorStep::packed(const Eskf::Covariance& covariance) {
    Triangle out;
    for (int column = 0, at = 0; column < Eskf::kSize; at += ++column)
        out.segment(at, column + 1) = covariance.col(column).head(column + 1);
    return out;
}

Eskf::Covariance ErrorStep::unpacked(const Triangle& triangle) {
    Eskf::Covariance out;
    for (int column = 0, at = 0; column < Eskf::kSize; at += ++column) {
        out.col(column).head(column + 1) = triangle.segment(at, column + 1);
        out.row(column).head(column + 1) = triangle.segment(at, column + 1).transpose();
    }
    return out;
}

Eskf::Covariance ErrorStep::transition() const {
    Eskf::Covariance out = Eskf::Covariance::Zero();
    out.topRows<kMixed>() = mixed_;
    out.diagonal().tail<Eskf::kSize - kMixed>() = diagonal_;
    return out;
}

ErrorEstimate ErrorStep::predicted() const {
    return {predicted_, unpacked(predicted_covariance_)};
}

ErrorEstimate ErrorStep::corrected() const {
    return {corrected_, unpacked(corrected_covariance_)};
}

bool AttitudePass::take() {
    if (taken_ <= most_) ++taken_;
    return !full();
}

void AttitudePass::keep(ErrorTrail&& piece) {
    if (!piece.empty()) pieces_.push_back(std::move(piece));
}

ErrorEstimate smoothed_before(const ErrorStep& now, const ErrorStep& next, const ErrorEstimate& next_smoothed) {
    const ErrorEstimate predicted = next.predicted(), corrected = now.corrected();
    const Eskf::Covariance gain = smoothing_gain(corrected.covariance, next.transition(), predicted.covariance);
    const Eskf::ErrorVector off = Eskf::error_of(predicted.nominal, next_smoothed.nominal);
    const Matrix3d back = right_jacobian(off.segment<3>(Eskf::kAttitude)).inverse();
    const Eskf::ErrorVector change = gain * off;
    const Eskf::Covariance covariance =
        corrected.covariance +
        gain * (with_attitude_in(next_smoothed.covariance, back) - predicted.covariance) * gain.transpose();
    return {Eskf::plus(corrected.nominal, change),
            with_attitude_in(0.5 * (covariance + covariance.transpose()),
                             right_jacobian(change.segment<3>(Eskf::kAttitude)))};
}

std::optional<std::vector<SmoothedAttitude>> smoothed(const AttitudePass& pass, std::int64_t until_ns,
                                                      const std::function<bool(double)>& go_on) {
    constexpr std::size_t kAskedEach = 50; // some 20 ms
    std::vector<std::span<const std::shared_ptr<const ErrorStep>>> pieces;
    std::size_t count = 0, done = 0;
    for (const ErrorTrail& trail : pass.pieces()) {
        const auto end = std::ranges::lower_bound(trail, until_ns, {}, &ErrorStep::t_ns);
        if (end == trail.begin()) continue;
        pieces.emplace_back(trail.begin(), end);
        count += pieces.back().size();
    }
    std::vector<SmoothedAttitude> out;
    for (const auto& piece : pieces) {
        std::vector<AttitudeAt> back;
        ErrorEstimate smoothed = piece.back()->corrected();
        for (std::size_t k = piece.size(); k-- > 0; ++done) {
            if (done % kAskedEach == 0 && !go_on(static_cast<double>(done) / static_cast<double>(count)))
                return std::nullopt;
            if (k + 1 < piece.size()) smoothed = smoothed_before(*piece[k], *piece[k + 1], smoothed);
            // Of steps at one time the last has all of it.
            if (back.empty() || piece[k]->t_ns() < back.back().t_ns)
                back.push_back(attitude_at(piece[k]->t_ns(), smoothed));
        }
        for (auto one = back.rbegin(); one != back.rend(); ++one) {
            const auto after = std::ranges::upper_bound(pass.said(), one->t_ns, {}, &AttitudeAt::t_ns);
            if (after == pass.said().begin() || std::prev(after)->t_ns != one->t_ns) continue;
            out.push_back({*one, *std::prev(after)});
        }
    }
    return out;
}

} // namespace turnstone::estimate
