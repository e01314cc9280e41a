#pragma once
/// What the translation filter (translation_filter.hpp) knows: where the vehicle is and how it moves, without attitude.
#include <algorithm>
#include <cstdint>

#include <Eigen/Core>

#include "shared/constants.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

/// NaN where nothing is known.
struct TranslationEstimate {
    static inline const Eigen::Vector3d kUnknown = Eigen::Vector3d::Constant(kNaN);

    std::int64_t t_ns = 0;
    std::int64_t t_measured_ns = 0; ///< of the newest measurement in it
    double spacing_s = 0;           ///< between the two newest
    bool valid = false;             ///< everything below means something
    bool valid_up = false;          ///< the up components do; true without a fix too, where there are heights
    Eigen::Vector3d position_enu_m = kUnknown, velocity_enu_mps = kUnknown, acceleration_enu_mps2 = kUnknown;
    /// What fixes are off by: the slowly wandering error (3), the delay beyond the one told, the datum.
    Eigen::Matrix<double, 5, 1> fix_errors = Eigen::Matrix<double, 5, 1>::Constant(kNaN);
    /// Of [position, velocity, acceleration, fix_errors].
    Eigen::Matrix<double, 14, 14> covariance = Eigen::Matrix<double, 14, 14>::Constant(kNaN);

    /// Measured less than `within_s` before `now_ns`, or than two and a half of the pauses between measurements.
    [[nodiscard]] bool heard_within(double within_s, std::int64_t now_ns) const {
        return seconds_between(t_measured_ns, now_ns) < std::max(within_s, 2.5 * spacing_s);
    }
    [[nodiscard]] Eigen::Vector3d position_sigma_m() const { return sigma(0); }
    [[nodiscard]] Eigen::Vector3d velocity_sigma_mps() const { return sigma(3); }
    [[nodiscard]] Eigen::Vector3d acceleration_sigma_mps2() const { return sigma(6); }

  private:
    [[nodiscard]] Eigen::Vector3d sigma(int from) const {
        return covariance.diagonal().segment<3>(from).cwiseMax(0.0).cwiseSqrt();
    }
};

} // namespace turnstone::estimate
