#pragma once
/// What a filter leaves behind for the backward pass when it is asked to: a step for each correction.
///
/// A filter holds a pointer to one, null in the air, and carries the transition along in it.
#include <cstddef>
#include <vector>

#include "server/estimate/smoothing/rts.hpp"

namespace turnstone::estimate {

template <int N>
class ForwardPass {
  public:
    using Matrix = Eigen::Matrix<double, N, N>;

    /// Steps beyond `most` are not kept; a step of the vertical filter takes 3 kB, one of the translation filter 5 kB.
    explicit ForwardPass(std::size_t most = 60'000) : most_(most) {}

    /// Of what was done since the last step; the filter applies each of its steps to it.
    [[nodiscard]] Matrix& transition() noexcept { return transition_; }
    /// Nothing from here on says anything of what was before.
    void cut() { transition_.setZero(); }
    void keep(std::int64_t t_ns, const KalmanState<N>& predicted, const KalmanState<N>& corrected) {
        if (steps_.size() < most_)
            steps_.push_back({t_ns, transition_, predicted, corrected});
        else
            full_ = true;
        transition_.setIdentity();
    }

    [[nodiscard]] const std::vector<ForwardStep<N>>& steps() const noexcept { return steps_; }
    /// Whether some were left out.
    [[nodiscard]] bool full() const noexcept { return full_; }

  private:
    std::size_t most_;
    Matrix transition_ = Matrix::Zero();
    std::vector<ForwardStep<N>> steps_;
    bool full_ = false;
};

} // namespace turnstone::estimate
