#include "server/report/chapters/links.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "server/debrief/flights/silences.hpp"
#include "server/report/page/page.hpp"
#include "server/report/page/table.hpp"
#include "server/report/text/figure.hpp"
#include "shared/time.hpp"

namespace turnstone::report {

namespace {

constexpr std::size_t kGapsShown = 12;

std::string count_text(double count) {
    return fixed(count, 0);
}

} // namespace

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
        const auto of = [&](std::string_view name) { return debrief::counted(recorded, table, window, name); };
        const auto silent = debrief::silent_times(recorded, link.name, window);
        double longest_s = 0;
        for (const debrief::SilentTime& gap : silent)
            longest_s = std::max(longest_s, seconds_between(gap.from_ns, gap.to_ns));
        const double lost = of("lost");
        links.row({strong(link.name), Markup::text(count_text(of("received"))), Markup::text(count_text(lost)),
                   Markup::text(fraction_text(lost / (lost + of("received") - of("duplicates")))),
                   Markup::text(count_text(of("duplicates"))), Markup::text(count_text(of("frames_bad"))),
                   Markup::text(std::isnan(of("bytes")) ? std::string(kNoFigure) : size_text(of("bytes"))),
                   Markup::text(longest_s > 0 ? duration_text(longest_s) : "none")});
        for (const debrief::SilentTime& gap : silent)
            gaps.row({Markup::text(clock.text(gap.from_ns)), Markup::text(clock.text(gap.to_ns)),
                      Markup::text(duration_text(seconds_between(gap.from_ns, gap.to_ns))), Markup::text(link.name)});
    }
    if (links.empty()) return {};
    Markup content = links.markup();
    if (!gaps.empty())
        content += element("h3", fmt::format("Longer than {} s without a good frame", debrief::kGapSeconds)) +
                   gaps.markup(kGapsShown);
    return chapter("Links", content);
}

} // namespace turnstone::report
