#pragma once
/// The state of the vertical filter, and the steps that its two models of motion are made of. Equations only: when to
/// take which is vertical_filter.hpp's business.
///
///   h  altitude above the pad                                              [m]
///   v  vertical speed                                                      [m/s]
///   a  vertical acceleration, gravity removed                              [m/s2]
///   b  bias of the vertical accelerometer                                  [m/s2]
///   s  fraction of the felt force that is not vertical (tilt of the axis
///      that stands for the vertical, and scale error)                      [1]
///   c  pressure coefficient of the static ports: pressure error over
///      dynamic pressure                                                    [1]
///   d  delay of the pressure behind the vents'                             [s]
///   k  the day's air: error of a pressure altitude over its 1-sigma        [1]
///   g  error of the fixes' height that lasts a minute or so                [m]
///   o  offset of the fixes' height datum from the pad's                    [m]
///   e  delay of the fixes beyond what the vehicle file says                [s]
///
/// Every step costs a few rows and columns of the covariance, not a full product: a vehicle sends hundreds of inertial
/// samples a second.
#include <Eigen/Core>

#include "server/estimate/math/kalman.hpp"

namespace turnstone::estimate {

/// Names as short as in the equations, for the files of this folder only.
namespace vertical_states {
enum VerticalState : int { kH, kV, kA, kB, kS, kC, kD, kK, kG, kO, kE, kCount };
}
using vertical_states::VerticalState;
inline constexpr int kVerticalStates = vertical_states::kCount;

using VerticalKalman = KalmanState<kVerticalStates>;
using VerticalRow = Eigen::Matrix<double, 1, kVerticalStates>;
using VerticalMatrix = Eigen::Matrix<double, kVerticalStates, kVerticalStates>;

/// First-order Gauss-Markov acceleration around a mean (R. A. Singer, "Estimating Optimal Tracking Filter Performance
/// for Manned Maneuvering Targets", IEEE Trans. AES-6, 1970, eqs. 7-16).
struct SingerProcess {
    double mean_mps2, sigma_mps2, tau_s;
};

// `carried`, where it is given: the transition up to here, to which the step applies itself too.
/// `a` holds.
void propagate_held(VerticalKalman& state, double dt_s, VerticalMatrix* carried = nullptr);
void propagate_singer(VerticalKalman& state, double dt_s, const SingerProcess& process,
                      VerticalMatrix* carried = nullptr);
/// The vehicle stands: no speed. `a` is what it would be if it left, of that 1-sigma.
void propagate_rest(VerticalKalman& state, double dt_s, double accel_sigma_mps2);
/// `a` becomes what a sample says, with no prior knowledge of the motion: z - bias_share b - s f.
void take_acceleration(VerticalKalman& state, double accel_up_mps2, double variance, double bias_share,
                       double force_mps2, VerticalMatrix* carried = nullptr);
/// One state becomes independent of all others.
void forget(VerticalKalman& state, VerticalState which, double mean, double sigma, VerticalMatrix* carried = nullptr);
/// A first-order Gauss-Markov state with this 1-sigma moves on; `kept` is its correlation with what it was.
void drift(VerticalKalman& state, VerticalState which, double kept, double sigma, VerticalMatrix* carried = nullptr);
/// A random walk's part of `variance`.
inline void walk(VerticalKalman& state, VerticalState which, double variance) {
    state.covariance(which, which) += variance;
}

struct ScalarInnovation {
    double value;    ///< measurement minus prediction
    double variance; ///< S
    double nis;
    [[nodiscard]] double log_likelihood() const noexcept;
};
[[nodiscard]] ScalarInnovation innovation_of(const VerticalKalman& state, const VerticalRow& observation,
                                             double measured, double variance);
void correct(VerticalKalman& state, const ScalarInnovation& innovation, const VerticalRow& observation);
/// The same, but one state is only considered, not learnt: its error counts, its value stays (S. F. Schmidt,
/// "Application of State-Space Methods to Navigation Problems", 1966).
void correct_considering(VerticalKalman& state, VerticalState considered, const ScalarInnovation& innovation,
                         const VerticalRow& observation);

} // namespace turnstone::estimate
