#include "server/report/chapters/links.hpp"

#include <algorithm>
#include <cmath>
#include <map>

#include <fmt/format.h>

#include "server/report/page/page.hpp"
#include "server/report/page/table.hpp"
#include "server/report/text/figure.hpp"
#include "shared/time.hpp"

namespace turnstone::report {

namespace {

constexpr std::size_t kGapsShown = 12;

/// Age of the last good frame by time, of the link that had the newest.
using Ages = std::map<std::int64_t, double>;

void add_ages(const Recorded& recorded, const LinkSetup& link, Window window, Ages& ages) {
    const Table* table = recorded.table("link/" + link.name);
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

std::string count_text(double count) {
    return fixed(count, 0);
}

/// Counters since the recording's start, taken as those of the window.
double counted(const Recorded& recorded, const Table* table, Window window, std::string_view name) {
    const auto last = recorded.row_at(table, window.to_ns - 1);
    if (!last) return std::nan("");
    const auto first = recorded.row_at(table, window.from_ns - 1);
    const double before = first ? first->value(name) : 0;
    return last->value(name) - (std::isnan(before) ? 0 : before);
}

} // namespace

std::vector<SilentTime> silent_times(const Recorded& recorded, std::size_t vehicle, Window window) {
    Ages ages;
    for (const LinkSetup& link : recorded.setup().links)
        if (link.vehicle == vehicle) add_ages(recorded, link, window, ages);
    return silences(ages, window);
}

Markup links_chapter(const Recorded& recorded, std::size_t vehicle, Window window, const ReportClock& clock) {
    LedgerTable links({{"Link"},
                       {"Received", true},
                       {"Lost", true},
                       {"Loss", true},
                       {"Duplicates", true},
                       {"Bad frames", true},
                       {"Bytes", true},
                       {"Longest gap", true}});
    LedgerTable gaps({{"Gap from"}, {"until"}, {"for", true}, {"Link"}});
    for (const LinkSetup& link : recorded.setup().links) {
        if (link.vehicle != vehicle) continue;
        const Table* table = recorded.table("link/" + link.name);
        const auto of = [&](std::string_view name) { return counted(recorded, table, window, name); };
        Ages ages;
        add_ages(recorded, link, window, ages);
        auto silent = silences(ages, window);
        double longest_s = 0;
        for (const SilentTime& gap : silent) longest_s = std::max(longest_s, seconds_between(gap.from_ns, gap.to_ns));
        const double lost = of("lost");
        links.row({strong(link.name), Markup::text(count_text(of("received"))), Markup::text(count_text(lost)),
                   Markup::text(fraction_text(lost / (lost + of("received") - of("duplicates")))),
                   Markup::text(count_text(of("duplicates"))), Markup::text(count_text(of("frames_bad"))),
                   Markup::text(std::isnan(of("bytes")) ? std::string(kNoFigure) : size_text(of("bytes"))),
                   Markup::text(longest_s > 0 ? duration_text(longest_s) : "none")});
        for (const SilentTime& gap : silent)
            gaps.row({Markup::text(clock.text(gap.from_ns)), Markup::text(clock.text(gap.to_ns)),
                      Markup::text(duration_text(seconds_between(gap.from_ns, gap.to_ns))), Markup::text(link.name)});
    }
    if (links.empty()) return {};
    Markup content = links.markup();
    if (!gaps.empty())
        content +=
            element("h3", fmt::format("Longer than {} s without a good frame", kGapSeconds)) + gaps.markup(kGapsShown);
    return chapter("Links", content);
}

} // namespace turnstone::report
