#include "server/report/ground/holds.hpp"

#include <optional>
#include <string>
#include <vector>

#include "server/report/chapters/clock.hpp"
#include "server/report/page/page.hpp"
#include "server/report/page/table.hpp"
#include "server/report/text/figure.hpp"
#include "shared/time.hpp"

namespace turnstone::report {

namespace {

struct CountdownHold {
    std::int64_t from_ns;
    double left_s;
    std::string reason;
    std::optional<std::int64_t> to_ns = {}; ///< empty: it lasts
};

std::vector<CountdownHold> holds_of(const Recorded& recorded) {
    std::vector<CountdownHold> holds;
    for (const Event& event : recorded.events()) {
        const bool is_held = what(event) == "countdown_held";
        if (!is_held && what(event) != "countdown_runs" && what(event) != "countdown_off") continue;
        CountdownHold* const before = holds.empty() || holds.back().to_ns ? nullptr : &holds.back();
        if (!is_held) {
            if (before != nullptr) before->to_ns = event.t_ns;
            continue;
        }
        CountdownHold hold{
            .from_ns = event.t_ns, .left_s = number_in(event, "left_s"), .reason = text_in(event, "reason")};
        if (before != nullptr && before->reason.empty() && before->left_s == hold.left_s) {
            before->reason = std::move(hold.reason);
            continue;
        }
        if (before != nullptr) before->to_ns = event.t_ns;
        holds.push_back(std::move(hold));
    }
    return holds;
}

} // namespace

Markup holds_chapter(const Recorded& recorded) {
    const ReportClock clock(recorded, std::nullopt);
    LedgerTable table({{"Held at, UTC"}, {"Countdown"}, {"for"}, {"Why", false, true}});
    for (const CountdownHold& hold : holds_of(recorded)) {
        const std::string lasted =
            hold.to_ns ? duration_text(seconds_between(hold.from_ns, *hold.to_ns)) : "to the end";
        table.row({Markup::text(clock.utc(hold.from_ns)), Markup::text(flight_clock(-hold.left_s, 0)),
                   Markup::text(lasted), hold.reason.empty() ? note("not said") : Markup::text(hold.reason)});
    }
    return table.empty() ? Markup() : chapter("Holds of the countdown", table.markup());
}

} // namespace turnstone::report
