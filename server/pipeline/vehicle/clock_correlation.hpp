#pragma once
/// Maps a vehicle's clock to station time from one-way packets.
///
/// Model: t_rx = onboard (1 + s) + c + delay, delay >= smallest delay. With x = onboard and y = t_rx -
/// onboard the points lie on or above a line; the line under all points with the smallest sum of vertical
/// distances is the edge of their lower convex hull over the mean of x (S. B. Moon, P. Skelly, D. Towsley,
/// INFOCOM 1999, 227-234; L. Zhang, Z. Liu, C. H. Xia, INFOCOM 2002, 160-169). Delays only ever add, so the
/// hull is not pulled up by jitter, as a least-squares line is. The smallest delay itself cannot be seen from
/// one end: mapped times are late by it.
///
/// Points older than 10 minutes of on-board time are left out, because a crystal's rate follows its
/// temperature. Memory is fixed: two-second blocks keep only their own hull (the hull of the hulls is the
/// hull of all points). Corrections of the mapping are slewed, so that mapped times of successive samples
/// never go back or bunch up.
#include <array>
#include <cstddef>
#include <cstdint>
#include <vector>

namespace turnstone {

/// y = value at onboard_zero + slope * x, times in seconds.
struct ClockFit {
    bool has_slope = false;     ///< false: too short yet; slope is taken as zero
    double slope = 0;           ///< station seconds gained per on-board second
    double drift_ppm = 0;       ///< on-board fast positive: (1 / (1 + slope) - 1) 1e6
    double drift_bound_ppm = 0; ///< about 95 %; NaN without slope
    double bound_s = 0;         ///< about 95 %, of mapped times at the newest packet, smallest delay left out
    std::size_t hull_size = 0;
};

class ClockCorrelation {
  public:
    ClockCorrelation();

    /// Forgets everything: a new boot, another counter.
    void restart() noexcept;
    /// One packet. Packets older than the newest are left out: they waited longer, and cannot lie on the
    /// hull.
    void add(std::int64_t onboard_ns, std::int64_t t_rx_ns) noexcept;
    /// Fits again from the points so far; mapped times follow it, slewed by at most 2 %.
    void refit() noexcept;

    [[nodiscard]] bool has_points() const noexcept { return block_count_ > 0; }
    [[nodiscard]] const ClockFit& fit() const noexcept { return fit_; }
    /// Slewed mapping; meaningful only after a point.
    [[nodiscard]] std::int64_t station_ns(std::int64_t onboard_ns) const noexcept;
    /// The fitted line itself, without slew.
    [[nodiscard]] std::int64_t fitted_station_ns(std::int64_t onboard_ns) const noexcept;

  private:
    struct Point {
        double x_s; ///< on-board time after the first point's
        double y_s; ///< (receive time - on-board time) after the first point's
    };
    static constexpr std::size_t kBlockPoints = 16;
    static constexpr std::size_t kBlocks = 300;
    struct Block {
        std::int64_t number;
        std::array<Point, kBlockPoints> hull;
        std::size_t size;
        double x_sum_s;
        std::size_t count;
    };

    Block& block_for(double x_s) noexcept;
    [[nodiscard]] const Block& block_at(std::size_t age_order) const noexcept;
    [[nodiscard]] double line_s(double x_s) const noexcept { return value_s_ + fit_.slope * x_s; }
    /// The line with what is left of the slew.
    [[nodiscard]] double applied_s(double x_s) const noexcept;
    void judge(const Point& left, const Point& right) noexcept;

    std::vector<Block> blocks_;    ///< ring
    std::vector<Point> hull_;      ///< scratch of refit
    std::vector<double> excess_s_; ///< scratch of judge
    std::size_t block_first_ = 0;
    std::size_t block_count_ = 0;
    std::int64_t onboard_origin_ns_ = 0;
    std::int64_t delta_origin_ns_ = 0; ///< receive time - on-board time of the first point
    Point newest_{};
    ClockFit fit_;
    double value_s_ = 0; ///< of the line at x = 0
    double slew_s_ = 0;  ///< left to take out at slew_from_s_
    double slew_from_s_ = 0;
    double slew_over_s_ = 1;
};

} // namespace turnstone
