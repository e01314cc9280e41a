#include "server/debrief/flights/silences.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>

#include "shared/time.hpp"

namespace turnstone::debrief {

namespace {

/// Age of the last good frame by time, of the link that had the newest.
using Ages = std::map<std::int64_t, double>;

void add_ages(const Recorded& recorded, const std::string& link, Window window, Ages& ages) {
    const Table* table = recorded.table("link/" + link);
    const auto age = recorded.column(table, "age_s");
    if (!age) return;
    const SeriesBlock block = recorded.rows(*table, {age->column}, window);
    for (std::size_t i = 0; i < block.rows; ++i) {
        // A bin of many rows counts as its oldest: a gap is not lost in it.
        const auto [place, is_new] = ages.try_emplace(block.t_ns[i], block.max[i]);
        if (!is_new && !(place->second <= block.max[i])) place->second = block.max[i];
    }
}

std::vector<SilentTime> silences(const Ages& ages, Window window) {
    std::vector<SilentTime> silent;
    for (const auto& [t_ns, age_s] : ages) {
        if (!(age_s >= kGapSeconds)) continue;
        const std::int64_t from_ns = std::max(window.from_ns, t_ns - seconds_to_ns(age_s));
        if (!silent.empty() && from_ns <= silent.back().to_ns + kNsPerS)
            silent.back().to_ns = t_ns;
        else
            silent.push_back({from_ns, t_ns});
    }
    return silent;
}

} // namespace

std::vector<SilentTime> silent_times(const Recorded& recorded, std::size_t vehicle, Window window) {
    Ages ages;
    for (const LinkSetup& link : recorded.setup().links)
        if (link.vehicle == vehicle) add_ages(recorded, link.name, window, ages);
    return silences(ages, window);
}

std::vector<SilentTime> silent_times(const Recorded& recorded, const std::string& link, Window window) {
    Ages ages;
    add_ages(recorded, link, window, ages);
    return silences(ages, window);
}

double counted(const Recorded& recorded, const Table* table, Window window, std::string_view column) {
    const auto last = recorded.row_at(table, window.to_ns - 1);
    if (!last) return std::nan("");
    const auto first = recorded.row_at(table, window.from_ns - 1);
    const double before = first ? first->value(column) : 0;
    return last->value(column) - (std::isnan(before) ? 0 : before);
}

double lost_fraction(const Recorded& recorded, std::size_t vehicle, Window window) {
    double least = std::numeric_limits<double>::quiet_NaN();
    for (const LinkSetup& link : recorded.setup().links) {
        if (link.vehicle != vehicle) continue;
        const Table* table = recorded.table("link/" + link.name);
        const auto of = [&](std::string_view column) { return counted(recorded, table, window, column); };
        const double lost = of("lost"), sent = lost + of("received") - of("duplicates");
        if (sent > 0 && !(least <= lost / sent)) least = lost / sent;
    }
    return least;
}

} // namespace turnstone::debrief
