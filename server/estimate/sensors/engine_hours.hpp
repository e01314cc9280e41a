#pragma once
/// Running hours of an engine, and how fast slow gauges change. Table "engine".
///
/// The engine counts as running from kOn above the threshold until kOff below it (so that idling at the threshold does
/// not count twice). Time is counted between samples while it runs, at most kGap_s in a gap: running that was not heard
/// is not assumed. The count continues from `start_s`, or from continue_from(): the total of earlier recordings. Rates
/// of change: slope of the least-squares line through the last kRateWindow_s, with its 1-sigma from the residuals; NaN
/// before kRateMin_s of data. Speed and gauges may come in different packets. Samples not newer than the last of their
/// kind are ignored, NaN values skipped; before the first speed, running and total are NaN in the row.
#include <cstdint>

#include "server/estimate/math/history.hpp"
#include "server/estimate/measurements.hpp"
#include "server/estimate/table.hpp"

namespace turnstone::estimate {

struct Rate {
    double per_s;
    double per_s_sigma;
};

/// Slope of a slow gauge.
class SlowRate {
  public:
    static constexpr double kRateWindow_s = 60.0;
    static constexpr double kRateMin_s = 10.0;

    void sample(std::int64_t t_ns, double value);
    [[nodiscard]] Rate rate() const;

  private:
    struct Point {
        std::int64_t t_ns;
        double value;
    };
    History<Point> points_{256};
    std::int64_t t_kept_ns_ = 0;
};

/// NaN where nothing has been heard.
struct EngineFigures {
    double running; ///< 1 or 0
    double running_time_h;
    Rate temperature_k, oil_pressure_pa;
};
[[nodiscard]] TableOf<EngineFigures> engine_table();

class EngineHours {
  public:
    static constexpr double kOn = 1.05;
    static constexpr double kOff = 0.95;
    static constexpr double kGap_s = 5.0;

    EngineHours(double threshold_rpm, double start_s) : threshold_rpm_(threshold_rpm), total_s_(start_s) {}

    void sample(const EngineSample& sample);
    /// Sets the total, as if the engine had run `total_s` before now.
    void continue_from(double total_s) noexcept { total_s_ = total_s; }
    [[nodiscard]] bool running() const noexcept { return running_; }
    [[nodiscard]] double total_s() const noexcept { return total_s_; }
    [[nodiscard]] EngineFigures figures() const;

  private:
    double threshold_rpm_;
    double total_s_;
    bool running_ = false;
    std::int64_t t_speed_ns_ = 0; ///< 0: no speed yet
    SlowRate temperature_;
    SlowRate oil_pressure_;
};

} // namespace turnstone::estimate
