#pragma once
/// Mean and gust of an anemometer, as reports of surface wind have them: mean over 10 minutes, gust the greatest mean
/// over 3 s in these (WMO-No. 8, Guide to Instruments and Methods of Observation, part I, chapter 5; from memory). The
/// direction is that of the vector mean; at calm there is none. Seconds without a sample count for nothing, and before
/// 10 minutes have passed the figures are over what there is. Samples older than the newest by a second and more are
/// ignored, as are NaN. Fixed memory.
#include <array>
#include <cstdint>

#include "shared/constants.hpp"

namespace turnstone::estimate {

struct SurfaceWindFigures {
    double mean_mps = kNaN, gust_mps = kNaN, from_deg = kNaN;
    double over_s = kNaN; ///< seconds of the last ten minutes that are in it
};

class SurfaceWind {
  public:
    static constexpr int kMean_s = 600;
    static constexpr int kGust_s = 3;

    void sample(std::int64_t t_ns, double speed_mps, double from_deg) noexcept;
    [[nodiscard]] SurfaceWindFigures figures() const noexcept;

  private:
    /// One second.
    struct Second {
        std::int64_t number = -1;                                     ///< of station time
        double count = 0, speed_mps = 0, north_mps = 0, east_mps = 0; ///< sums; where the wind comes from
        double directions = 0;
    };
    std::array<Second, kMean_s> seconds_{}; ///< ring by number
    std::int64_t newest_ = -1;
};

} // namespace turnstone::estimate
