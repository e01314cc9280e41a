#include "server/exchange/import/station_times.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <span>
#include <vector>

#include "shared/time.hpp"

namespace turnstone::exchange {

namespace {

constexpr std::size_t kCommonLeast = 10;
constexpr double kDriftLeast_s = 120;
constexpr double kSigmaOfMad = 1.4826; // of a normal distribution

struct Common {
    std::int64_t there_ns;
    std::int64_t ahead_ns; ///< of their time
};

/// Reorders; of an even number the upper one.
std::int64_t median(std::vector<std::int64_t> values) {
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::ranges::nth_element(values, middle);
    return *middle;
}

Common middle_of(std::span<const Common> part) {
    std::vector<std::int64_t> there, ahead;
    for (const Common& each : part) {
        there.push_back(each.there_ns);
        ahead.push_back(each.ahead_ns);
    }
    return {median(std::move(there)), median(std::move(ahead))};
}

} // namespace

std::int64_t StationTimes::station_ns(std::int64_t other_ns) const noexcept {
    const std::int64_t away_ns = other_ns - there_ns;
    return here_ns + away_ns - drifted_ns(away_ns);
}

std::int64_t StationTimes::drifted_ns(std::int64_t away_ns) const noexcept {
    return static_cast<std::int64_t>(drift_ppm * 1e-6 * static_cast<double>(away_ns));
}

StationTimes times_by_packets(const RadioRecord& here, const RadioRecord& there, std::int64_t utc_offset_ns) {
    std::vector<Common> common;
    for (const RadioPacket& packet : there.packets) {
        const auto same = here.with_id(packet.id);
        // A computer in a reboot loop repeats itself: which of several it is, nobody knows.
        if (same.size() != 1 || there.with_id(packet.id).size() != 1 || same[0].content != packet.content) continue;
        common.push_back({packet.t_rx_ns, packet.t_rx_ns - same[0].t_rx_ns});
    }
    StationTimes out{.packets = common.size()};
    if (common.size() < kCommonLeast) {
        out.there_ns = utc_offset_ns;
        out.sigma_s = std::numeric_limits<double>::quiet_NaN();
        return out;
    }
    out.by = StationsBy::packets;
    std::ranges::sort(common, {}, &Common::there_ns);
    const std::size_t third = common.size() / 3;
    const Common first = middle_of(std::span(common).first(third)), last = middle_of(std::span(common).last(third));
    const double apart_s = seconds_between(first.there_ns, last.there_ns);
    if (apart_s >= kDriftLeast_s) out.drift_ppm = 1e6 * seconds_between(first.ahead_ns, last.ahead_ns) / apart_s;
    out.there_ns = common[common.size() / 2].there_ns;
    // Without the drift, so that packets that came late by one radio do not look like another time.
    std::vector<std::int64_t> ahead;
    for (const Common& each : common) ahead.push_back(each.ahead_ns - out.drifted_ns(each.there_ns - out.there_ns));
    out.here_ns = out.there_ns - median(std::move(ahead));
    std::vector<std::int64_t> off;
    for (const Common& each : common)
        off.push_back(std::abs(out.station_ns(each.there_ns) - (each.there_ns - each.ahead_ns)));
    out.sigma_s = kSigmaOfMad * 1e-9 * static_cast<double>(median(std::move(off)));
    return out;
}

} // namespace turnstone::exchange
