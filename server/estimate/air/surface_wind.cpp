#include "server/estimate/air/surface_wind.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "shared/time.hpp"

namespace turnstone::estimate {

void SurfaceWind::sample(std::int64_t t_ns, double speed_mps, double from_deg) noexcept {
    const std::int64_t number = t_ns / kNsPerS;
    if (!std::isfinite(speed_mps) || number < newest_) return;
    newest_ = number;
    Second& second = seconds_[static_cast<std::size_t>(number % kMean_s)];
    if (second.number != number) second = {.number = number};
    ++second.count;
    second.speed_mps += speed_mps;
    if (!std::isfinite(from_deg)) return;
    const double from_rad = from_deg * std::numbers::pi / 180;
    ++second.directions;
    second.north_mps += speed_mps * std::cos(from_rad);
    second.east_mps += speed_mps * std::sin(from_rad);
}

SurfaceWindFigures SurfaceWind::figures() const noexcept {
    SurfaceWindFigures out;
    double sum_mps = 0, north_mps = 0, east_mps = 0, heard_s = 0;
    for (std::int64_t number = newest_ - kMean_s + 1; number <= newest_; ++number) {
        double gust_sum_mps = 0, gust_count = 0;
        for (std::int64_t part = std::max(number - kGust_s + 1, newest_ - kMean_s + 1); part <= number; ++part) {
            if (part < 0) continue;
            const Second& second = seconds_[static_cast<std::size_t>(part % kMean_s)];
            if (second.number != part) continue;
            gust_sum_mps += second.speed_mps / second.count;
            ++gust_count;
            if (part != number) continue;
            sum_mps += second.speed_mps / second.count;
            if (second.directions > 0) {
                north_mps += second.north_mps / second.directions;
                east_mps += second.east_mps / second.directions;
            }
            ++heard_s;
        }
        // A gust ends in a second that was heard, else one second would count for several.
        const bool heard = number >= 0 && seconds_[static_cast<std::size_t>(number % kMean_s)].number == number;
        if (heard) out.gust_mps = std::fmax(out.gust_mps, gust_sum_mps / gust_count);
    }
    if (heard_s == 0) return out;
    out.mean_mps = sum_mps / heard_s;
    out.over_s = heard_s;
    if (std::hypot(north_mps, east_mps) > 0) {
        const double from_deg = std::atan2(east_mps, north_mps) * 180 / std::numbers::pi;
        out.from_deg = from_deg < 0 ? from_deg + 360 : from_deg;
    }
    return out;
}

} // namespace turnstone::estimate
