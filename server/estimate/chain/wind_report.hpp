#pragma once
/// The table "wind": mean and gust of the vehicle's anemometer, once a second while it is heard.
#include <cstdint>
#include <vector>

#include "server/estimate/air/surface_wind.hpp"
#include "server/estimate/measurements.hpp"
#include "server/estimate/table.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

[[nodiscard]] inline TableOf<SurfaceWindFigures> wind_table() {
    using S = const SurfaceWindFigures&;
    constexpr const char* kGroup = "Wind";
    TableOf<SurfaceWindFigures> table{"wind", "Mean wind and gusts", 1.0};
    table.add({"mean_mps", "Wind, mean", "m/s", kGroup, 1, "Of the last 10 minutes"}, [](S w) { return w.mean_mps; })
        .add({"gust_mps", "Wind, gust", "m/s", kGroup, 1, "Greatest 3-s mean of the last 10 minutes"},
             [](S w) { return w.gust_mps; })
        .add({"from_deg", "Wind from, mean", "deg", kGroup, 0, "True north, of the last 10 minutes"},
             [](S w) { return w.from_deg; })
        .add({"over_s", "Wind, seconds heard", "s", "", 0, "Of the last 10 minutes"}, [](S w) { return w.over_s; });
    return table;
}

class WindReport {
  public:
    /// Appends its table to `tables`.
    explicit WindReport(std::vector<TableDescription>& tables) : rows_(wind_table(), tables) {}

    void write(const WindSample& sample, EstimateSink& sink) {
        wind_.sample(sample.t_ns, sample.speed_mps, sample.from_deg);
        if (seconds_between(t_row_ns_, sample.t_ns) < 1.0) return;
        t_row_ns_ = sample.t_ns;
        rows_.write(sample.t_ns, wind_.figures(), sink);
    }

  private:
    SurfaceWind wind_;
    RowWriter<SurfaceWindFigures> rows_;
    std::int64_t t_row_ns_ = 0;
};

} // namespace turnstone::estimate
