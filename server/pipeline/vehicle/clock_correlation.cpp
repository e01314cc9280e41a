#include "server/pipeline/vehicle/clock_correlation.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "shared/constants.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

constexpr double kBlock_s = 2.0;
// Over a shorter span the slope shows the delays of two points more than the clock.
constexpr double kSlopeSpan_s = 5.0;
constexpr std::size_t kSlopePoints = 20;
// No oscillator is this wrong. A capture read faster than real time looks like it and must not be extrapolated.
constexpr double kSlopeMax = 0.05;
constexpr double kSlewRate = 0.02;
constexpr double kSlewLeast_s = 1.0;
// A correction this large means that the mapping was wrong: it is set right at once, not slewed.
constexpr double kSlewMost_s = 0.25;

/// Appends to a lower hull with x ascending; of equal x the lower point stays (Andrew's monotone chain).
template <class Points, class Point>
void append_to_hull(Points& hull, std::size_t& size, const Point& point) noexcept {
    if (size > 0 && hull[size - 1].x_s == point.x_s) {
        if (hull[size - 1].y_s <= point.y_s) return;
        --size;
    }
    while (size >= 2) {
        const auto& a = hull[size - 2];
        const auto& b = hull[size - 1];
        if ((b.x_s - a.x_s) * (point.y_s - a.y_s) - (b.y_s - a.y_s) * (point.x_s - a.x_s) > 0) break;
        --size;
    }
    hull[size++] = point;
}

} // namespace

ClockCorrelation::ClockCorrelation() : blocks_(kBlocks), hull_(kBlocks * kBlockPoints + 1), excess_s_(kBlocks) {}

void ClockCorrelation::restart() noexcept {
    block_first_ = block_count_ = 0;
    fit_ = {};
    value_s_ = slew_s_ = slew_from_s_ = 0;
    slew_over_s_ = 1;
}

const ClockCorrelation::Block& ClockCorrelation::block_at(std::size_t age_order) const noexcept {
    return blocks_[(block_first_ + age_order) % kBlocks];
}

ClockCorrelation::Block& ClockCorrelation::block_for(double x_s) noexcept {
    const auto number = static_cast<std::int64_t>(x_s / kBlock_s);
    if (block_count_ > 0) {
        Block& last = blocks_[(block_first_ + block_count_ - 1) % kBlocks];
        if (last.number == number) return last;
        // Blocks stand for time, not for data: after silence the old ones leave by age.
        while (block_count_ > 0 && number - block_at(0).number >= static_cast<std::int64_t>(kBlocks)) {
            block_first_ = (block_first_ + 1) % kBlocks;
            --block_count_;
        }
    }
    Block& fresh = blocks_[(block_first_ + block_count_++) % kBlocks];
    fresh.number = number;
    fresh.size = fresh.count = 0;
    fresh.x_sum_s = 0;
    return fresh;
}

void ClockCorrelation::add(std::int64_t onboard_ns, std::int64_t t_rx_ns) noexcept {
    const bool first = block_count_ == 0;
    if (first) {
        onboard_origin_ns_ = onboard_ns;
        delta_origin_ns_ = t_rx_ns - onboard_ns;
    }
    const Point point{seconds_between(onboard_origin_ns_, onboard_ns),
                      seconds_between(delta_origin_ns_, t_rx_ns - onboard_ns)};
    if (!first && point.x_s < newest_.x_s) return;
    newest_ = point;
    Block& block = block_for(point.x_s);
    block.x_sum_s += point.x_s;
    ++block.count;
    if (block.size == kBlockPoints) {
        // Leave out the corner that stands out least; the block's ends stay.
        std::size_t flattest = 1;
        double least = std::numeric_limits<double>::infinity();
        for (std::size_t k = 1; k + 1 < block.size; ++k) {
            const Point &a = block.hull[k - 1], &b = block.hull[k], &c = block.hull[k + 1];
            const double height = a.y_s + (c.y_s - a.y_s) * (b.x_s - a.x_s) / (c.x_s - a.x_s) - b.y_s;
            if (height < least) {
                least = height;
                flattest = k;
            }
        }
        for (std::size_t k = flattest; k + 1 < block.size; ++k) block.hull[k] = block.hull[k + 1];
        --block.size;
    }
    append_to_hull(block.hull, block.size, point);
}

void ClockCorrelation::refit() noexcept {
    if (block_count_ == 0) return;
    const double applied_before_s = applied_s(newest_.x_s);
    std::size_t size = 0, count = 0;
    double x_sum_s = 0, lowest_s = std::numeric_limits<double>::infinity();
    for (std::size_t k = 0; k < block_count_; ++k) {
        const Block& block = block_at(k);
        for (std::size_t i = 0; i < block.size; ++i) {
            append_to_hull(hull_, size, block.hull[i]);
            lowest_s = std::min(lowest_s, block.hull[i].y_s);
        }
        x_sum_s += block.x_sum_s;
        count += block.count;
    }
    fit_ = {};
    fit_.hull_size = size;
    fit_.drift_bound_ppm = kNaN;
    value_s_ = lowest_s;
    if (size >= 2 && count >= kSlopePoints && hull_[size - 1].x_s - hull_[0].x_s >= kSlopeSpan_s) {
        const double mean_s = x_sum_s / static_cast<double>(count);
        std::size_t right = 1;
        while (right + 1 < size && hull_[right].x_s < mean_s) ++right;
        const Point &a = hull_[right - 1], &b = hull_[right];
        const double slope = (b.y_s - a.y_s) / (b.x_s - a.x_s);
        if (std::abs(slope) <= kSlopeMax) {
            fit_.has_slope = true;
            fit_.slope = slope;
            fit_.drift_ppm = (1 / (1 + slope) - 1) * 1e6;
            value_s_ = a.y_s - slope * a.x_s;
        }
        judge(a, b);
    } else {
        judge(hull_[0], hull_[size - 1]);
    }
    slew_from_s_ = newest_.x_s;
    slew_s_ = applied_before_s - line_s(newest_.x_s);
    if (std::abs(slew_s_) > kSlewMost_s) slew_s_ = 0;
    slew_over_s_ = std::max(kSlewLeast_s, std::abs(slew_s_) / kSlewRate);
}

/// How far above the smallest delay the two supporting points may lie is not seen, but how far the lowest
/// point of each block lies above the line is. The median, not the mean: a stretch of congestion must not
/// count. For exponential excess the 95 % quantile is 4.3 medians; the least of K draws shrinks with K, or
/// with its root when short delays are rare.
void ClockCorrelation::judge(const Point& left, const Point& right) noexcept {
    for (std::size_t k = 0; k < block_count_; ++k) {
        const Block& block = block_at(k);
        excess_s_[k] = std::numeric_limits<double>::infinity();
        for (std::size_t i = 0; i < block.size; ++i)
            excess_s_[k] = std::min(excess_s_[k], block.hull[i].y_s - line_s(block.hull[i].x_s));
    }
    const auto middle = static_cast<std::ptrdiff_t>(block_count_ / 2);
    std::nth_element(excess_s_.begin(), excess_s_.begin() + middle,
                     excess_s_.begin() + static_cast<std::ptrdiff_t>(block_count_));
    const double median_s = excess_s_[block_count_ / 2];
    const double support_s = 4.3 * median_s / std::max(1.0, std::sqrt(static_cast<double>(block_count_) / 2));
    fit_.bound_s = support_s;
    if (!fit_.has_slope) return;
    const double drift = support_s / (right.x_s - left.x_s);
    fit_.drift_bound_ppm = drift * 1e6;
    fit_.bound_s += drift * std::max(0.0, newest_.x_s - right.x_s);
}

std::int64_t ClockCorrelation::fitted_station_ns(std::int64_t onboard_ns) const noexcept {
    const double x_s = seconds_between(onboard_origin_ns_, onboard_ns);
    return onboard_ns + delta_origin_ns_ + std::llround(line_s(x_s) * 1e9);
}

double ClockCorrelation::applied_s(double x_s) const noexcept {
    return line_s(x_s) + slew_s_ * std::clamp(1 - (x_s - slew_from_s_) / slew_over_s_, 0.0, 1.0);
}

std::int64_t ClockCorrelation::station_ns(std::int64_t onboard_ns) const noexcept {
    return onboard_ns + delta_origin_ns_ +
           std::llround(applied_s(seconds_between(onboard_origin_ns_, onboard_ns)) * 1e9);
}

} // namespace turnstone
