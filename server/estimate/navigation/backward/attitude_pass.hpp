#pragma once
/// What the attitude filter leaves behind for the backward pass: a step for each correction, and the way back.
///
/// The filter is one of errors about a nominal state that turns (navigation/eskf.hpp), so that its backward pass is
/// Rauch, Tung and Striebel's (smoothing/rts.hpp) with differences taken on the rotations: with - before and + after a
/// correction, s the smoothed state and F from step k to k + 1,
///
///     G = P+(k) F' P-(k+1)^-1,   d = s(k+1) (-) x-(k+1),   s(k) = x+(k) (+) G d,
///     Ps(k) = P+(k) + G (Ps(k+1) - P-(k+1)) G'
///
/// Each covariance is about its own nominal state. Ps is taken to the state that it is compared with, or that it is of,
/// by the right Jacobian J of the rotation between the two: truth = s (+) e, x- (-) truth = d + J(d)^-1 e (J. Sola,
/// arXiv:1711.02508, eqs. 183 and 184). Whatever happens between two corrections other than a motion, a wander or a
/// state begun again, only widens P-.
///
/// A filter that only considers some states is not the best one of all its states, and what is carried back through
/// them may be wider than what the filter had. In directions of the corrected states in which Ps(k) is wider than
/// P+(k), s(k) keeps x+(k), and Ps(k) is P+(k): both covariances are diagonal in those directions, so that what stays
/// and what comes from behind are taken as independent.
///
/// Of a bank of filters (bank.hpp) the way back is that of the one which is left at the end. Where it took over another
/// that had come to agree with it, there is a step whose corrected covariance is that of both: what is known after it
/// is carried to before it whole, and no further than the branch's own prediction was wide. Where the turn about the
/// nose is begun again, nothing of the attitude is carried back.
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <vector>

#include "server/estimate/navigation/eskf.hpp"

namespace turnstone::estimate {

/// A state of the filter with the covariance of its error.
struct ErrorEstimate {
    EskfNominal nominal;
    Eskf::Covariance covariance;
};

/// One correction, packed: covariances by their upper triangles, the transition by the rows in which errors mix.
class ErrorStep {
  public:
    ErrorStep(std::int64_t t_ns, const Eskf::Covariance& transition, const ErrorEstimate& predicted,
              const ErrorEstimate& corrected);

    [[nodiscard]] std::int64_t t_ns() const noexcept { return t_ns_; }
    [[nodiscard]] Eskf::Covariance transition() const;
    [[nodiscard]] ErrorEstimate predicted() const;
    [[nodiscard]] ErrorEstimate corrected() const;

  private:
    static constexpr int kMixed = Eskf::kAccelBias; ///< rows down to here are not diagonal
    using Triangle = Eigen::Matrix<double, Eskf::kSize*(Eskf::kSize + 1) / 2, 1>;
    [[nodiscard]] static Triangle packed(const Eskf::Covariance& covariance);
    [[nodiscard]] static Eskf::Covariance unpacked(const Triangle& triangle);

    std::int64_t t_ns_;
    Eigen::Matrix<double, kMixed, Eskf::kSize> mixed_;
    Eigen::Matrix<double, Eskf::kSize - kMixed, 1> diagonal_;
    EskfNominal predicted_, corrected_;
    Triangle predicted_covariance_, corrected_covariance_;
};

/// Of one filter since it was started. Copies of a filter share the steps that they had in common.
using ErrorTrail = std::vector<std::shared_ptr<const ErrorStep>>;

struct AttitudeAt {
    std::int64_t t_ns;
    Eigen::Quaterniond q_local_body;
    Eigen::Matrix3d covariance_rad2; ///< of the rotation to the truth, about the body axes
};

class AttitudePass {
  public:
    /// Steps of all filters beyond `most` are not kept; one takes 9 kB.
    explicit AttitudePass(std::size_t most = 24'000) : most_(most) {}

    /// One more step. False: full.
    [[nodiscard]] bool take();
    /// From an alignment, on the pad or in motion, until attitude was lost, or the vehicle came to rest.
    void keep(ErrorTrail&& piece);
    /// What was said at the time.
    void keep(const AttitudeAt& said) { said_.push_back(said); }

    [[nodiscard]] const std::vector<ErrorTrail>& pieces() const noexcept { return pieces_; }
    [[nodiscard]] const std::vector<AttitudeAt>& said() const noexcept { return said_; }
    [[nodiscard]] bool full() const noexcept { return taken_ > most_; }

  private:
    std::size_t most_, taken_ = 0;
    std::vector<ErrorTrail> pieces_;
    std::vector<AttitudeAt> said_;
};

/// The state of `now` given the smoothed one of `next`.
[[nodiscard]] ErrorEstimate smoothed_before(const ErrorStep& now, const ErrorStep& next,
                                            const ErrorEstimate& next_smoothed);

/// Attitudes given all measurements of their piece, beside what was said at the time.
struct SmoothedAttitude {
    AttitudeAt both, said;
};
/// In the order of time, from steps before `until_ns`: what an impact did to the sensors says nothing of the flight.
/// `go_on` is asked with the part that is done; when it says no, there is none.
[[nodiscard]] std::optional<std::vector<SmoothedAttitude>> smoothed(const AttitudePass& pass, std::int64_t until_ns,
                                                                    const std::function<bool(double)>& go_on);

} // namespace turnstone::estimate
