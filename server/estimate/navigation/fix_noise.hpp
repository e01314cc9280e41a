#pragma once
/// How far to believe a GNSS fix.
///
/// Of the variance a receiver states, the part SensorNoise::fix_correlated_share wanders over fix_correlation_s and is
/// a state of the filter; the rest is new in each fix. A receiver that has lost its satellites and found them again,
/// mostly under acceleration, is off by tens of metres and metres a second for a second or two while its own filters
/// settle, and says little of it: for that time the errors are alike from fix to fix, so each counts as their sigma
/// times the root of the number of fixes in that time. (10 to 30 m and several m/s: common experience with receivers
/// that come back from high acceleration, no source.)
#include <cstdint>

#include <Eigen/Core>

#include "server/estimate/measurements.hpp"
#include "server/estimate/sensors/fix_scatter.hpp"
#include "shared/vehicle.hpp"

namespace turnstone::estimate {

class FixNoise {
  public:
    struct Sigmas {
        Eigen::Vector3d stated_m; ///< of the whole position error
        Eigen::Vector3d new_m;    ///< of what is new in this fix
        double speed_mps;         ///< of each axis
    };
    /// What the wandering error did since the last call.
    struct Wander {
        double since_s;
        double kept;
        Eigen::Vector3d variance_added_m2;
    };

    explicit FixNoise(const SensorNoise& sensors);
    /// The receiver says that it has no fix.
    void lost(std::int64_t t_ns);
    [[nodiscard]] Sigmas of(const FixSample& sample);
    void set_scatter(const FixScatterFactors& factors) noexcept { scatter_ = factors; }
    [[nodiscard]] Wander wander(std::int64_t t_ns, const Eigen::Vector3d& stated_m);
    /// The wandering error is as large as ever, from `t_ns` on.
    void start(std::int64_t t_ns, const Eigen::Vector3d& stated_m);

  private:
    SensorNoise sensors_;
    FixScatterFactors scatter_;
    bool locked_ = false;
    std::int64_t locked_ns_ = 0, lost_ns_ = 0;
    bool settling_ = false;
    std::int64_t t_fix_ns_ = 0;
    double period_s_ = 1.0;
    std::int64_t t_wander_ns_ = 0;
    Eigen::Vector3d level_m2_ = Eigen::Vector3d::Zero(); ///< stated variance that the wandering error goes by
};

} // namespace turnstone::estimate
