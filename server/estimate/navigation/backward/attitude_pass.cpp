#include "server/estimate/navigation/backward/attitude_pass.hpp"

#include <algorithm>
#include <cmath>
#include <span>
#include <utility>

#include <Eigen/Eigenvalues>
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

/// The part of a change by the way back that betters the estimate: where the smoothed covariance is wider than the
/// filter's, in directions that make both diagonal, the filter's estimate stays. Those of what is corrected only.
Eskf::Covariance bettering(const Eskf::Covariance& filter, const Eskf::Covariance& smoothed) {
    constexpr int kN = Eskf::kEstimated;
    constexpr double kLeast = 1e-12, kRounding = 1e-6;
    using Square = Eigen::Matrix<double, kN, kN>;
    Eigen::Matrix<double, kN, 1> scale;
    for (int i = 0; i < kN; ++i) scale(i) = filter(i, i) > 0 ? 1 / std::sqrt(filter(i, i)) : 0.0;
    const auto scaled = [&](const Eskf::Covariance& covariance) {
        return Square(scale.asDiagonal() * covariance.topLeftCorner<kN, kN>() * scale.asDiagonal());
    };
    const Square before = scaled(filter), after = scaled(smoothed);
    Eskf::Covariance out = Eskf::Covariance::Identity();
    if (((1 + kRounding) * before - after + kRounding * Square::Identity()).llt().info() == Eigen::Success) return out;
    const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> axes(before);
    Eigen::MatrixXd white = axes.eigenvectors();
    for (int i = 0; i < kN; ++i)
        white.col(i) *= axes.eigenvalues()(i) > kLeast ? 1 / std::sqrt(axes.eigenvalues()(i)) : 0.0;
    const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> ratios(white.transpose() * after * white);
    // Of each direction wider than the filter's its part goes: w w' P, with w' P w = 1.
    for (int i = kN; i-- > 0 && ratios.eigenvalues()(i) > 1 + kRounding;) {
        const Eigen::VectorXd along = scale.asDiagonal() * (white * ratios.eigenvectors().col(i));
        const Eigen::VectorXd back = filter.topLeftCorner<kN, kN>() * along;
        out.topLeftCorner<kN, kN>() -= back * along.transpose();
    }
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
    const Eskf::Covariance both =
        corrected.covariance +
        gain * (with_attitude_in(next_smoothed.covariance, back) - predicted.covariance) * gain.transpose();
    const Eskf::Covariance better = bettering(corrected.covariance, both);
    const Eskf::Covariance stays = Eskf::Covariance::Identity() - better;
    const Eskf::ErrorVector change = better * (gain * off);
    const Eskf::Covariance covariance =
        better * both * better.transpose() + stays * corrected.covariance * stays.transpose();
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
