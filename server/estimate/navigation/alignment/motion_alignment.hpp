#pragma once
/// Attitude found again in motion, from the velocity that fixes give.
///
/// Over a stretch of one to three seconds the specific force, turned by the gyro into the axes of its end and added up,
/// is what the velocity gained and gravity took, seen from the body: R sum(f dt) = dv + g T. One vector gives the
/// attitude up to the turn about it; under a parachute that is nearly the vertical, so the heading stays open and the
/// answer is a bank as on the pad (pad_alignment.hpp). In free fall there is no force and no answer. (Matching of
/// velocities, as in P. D. Groves, "Principles of GNSS, Inertial, and Multisensor Integrated Navigation Systems", 2nd
/// ed. 2013, section 15.2, with one vector.)
#include <cstdint>
#include <vector>

#include "server/estimate/math/history.hpp"
#include "server/estimate/measurements.hpp"
#include "server/estimate/navigation/alignment/pad_alignment.hpp"
#include "server/estimate/translation/translation_estimate.hpp"

namespace turnstone::estimate {

class MotionAlignment {
  public:
    MotionAlignment(const SensorNoise& sensors, double gravity_mps2);

    void clear();
    /// `clipped`: the sum of forces or turns is broken.
    void imu(const ImuSample& sample, double dt_s, bool clipped);
    /// After each fix. Fills `out` with kHypotheses headings when the last seconds decide the rest, else leaves it
    /// empty. `known` carries the inertial biases and their covariance; place, motion and the errors of fixes are
    /// `now`'s.
    void match(const TranslationEstimate& now, const Alignment& known, std::vector<Alignment>& out);

  private:
    /// Sums since the stretch began, in the body axes of that moment.
    struct Sum {
        std::int64_t t_ns;
        Eigen::Quaterniond q_start_body;
        Eigen::Vector3d force_mps;
    };
    struct Motion {
        std::int64_t t_ns;
        Eigen::Vector3d velocity_enu_mps;
        double variance; ///< of each component
    };
    /// Everything that `known` and `now` tell, with any attitude.
    [[nodiscard]] static Alignment joined(const TranslationEstimate& now, const Alignment& known);

    SensorNoise sensors_;
    double gravity_mps2_;
    Sum now_{0, Eigen::Quaterniond::Identity(), Eigen::Vector3d::Zero()};
    History<Sum> sums_;
    History<Motion> fixes_;
};

} // namespace turnstone::estimate
