#pragma once
/// How much more fixes scatter than is told of them, measured while the vehicle stands.
///
/// At rest the place does not change and the wandering part of a fix's error hardly does: half the square of the step
/// from fix to fix is the variance of what is new in each, and the square of its velocity that of its speed. Both are
/// taken relative to what the receiver and the vehicle file say of them, in the mean of the last kMemory_s, and weigh
/// in with what was told as kToldFixes fixes. Never below one: many receivers hold what they send while they stand.
/// Pure.
#include <cstdint>

#include <Eigen/Core>

namespace turnstone::estimate {

/// Variances against those told: of a position's new part, and of each axis of velocity.
struct FixScatterFactors {
    double position = 1, speed = 1;
};

class FixScatter {
  public:
    static constexpr double kMemory_s = 60;
    static constexpr double kToldFixes = 5;
    static constexpr double kMost = 9; ///< beyond, it is something else than scatter

    /// A fix at rest; `new_m` is the told 1-sigma of what is new in it by axis. NaN components are not used.
    void at_rest(std::int64_t t_ns, const Eigen::Vector3d& position_enu_m, const Eigen::Vector3d& new_m,
                 const Eigen::Vector3d& velocity_enu_mps, double speed_mps);
    /// What was last seen says nothing of the next fix: it moved, or fixes were lost.
    void interrupt() noexcept { has_last_ = false; }
    [[nodiscard]] FixScatterFactors factors() const noexcept;

  private:
    struct Mean {
        double weight = 0, sum = 0;
        void forget(double kept) noexcept {
            weight *= kept;
            sum *= kept;
        }
        void add(double square) noexcept {
            weight += 1;
            sum += square;
        }
    };
    [[nodiscard]] static double factor(const Mean& mean) noexcept;

    bool has_last_ = false;
    std::int64_t t_ns_ = 0;
    Eigen::Vector3d last_enu_m_ = Eigen::Vector3d::Zero();
    Mean position_, speed_;
};

} // namespace turnstone::estimate
