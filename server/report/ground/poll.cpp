#include "server/report/ground/poll.hpp"

#include <algorithm>

#include <fmt/format.h>

#include "server/report/chapters/clock.hpp"
#include "server/report/ground/checks.hpp"
#include "server/report/page/page.hpp"
#include "server/report/page/table.hpp"

namespace turnstone::report {

namespace {

constexpr std::size_t kChangesMost = 100;

struct PositionAnswer {
    std::string id, title;
    bool asked = false, answered = false, go = false;
    std::string by, note;
    std::int64_t t_ns = 0;
};

/// Up to the first liftoff, at which answers are spent, or to the end.
Window polled_window(const Recorded& recorded) {
    Window window = recorded.whole();
    for (const Event& event : recorded.events())
        if (what(event) == "readiness_at_liftoff") {
            window.to_ns = event.t_ns + 1;
            break;
        }
    return window;
}

std::vector<PositionAnswer> answers_of(const Recorded& recorded) {
    std::vector<PositionAnswer> answers;
    const auto of = [&](const std::string& id, const std::string& title) -> PositionAnswer& {
        const auto found = std::ranges::find(answers, id, &PositionAnswer::id);
        if (found != answers.end()) return *found;
        answers.push_back({.id = id, .title = title, .by = {}, .note = {}});
        return answers.back();
    };
    for (const VehicleDescription& vehicle : recorded.setup().vehicles)
        if (vehicle.readiness)
            for (const Position& position : vehicle.readiness->positions) of(position.id, position.title);
    const Window window = polled_window(recorded);
    for (const Event& event : recorded.events()) {
        if (event.t_ns >= window.to_ns) continue;
        if (what(event) == "poll_asked") {
            PositionAnswer& answer = of(text_in(event, "position"), text_in(event, "title"));
            answer.asked = true;
            answer.answered = false;
            answer.t_ns = event.t_ns;
        } else if (what(event) == "poll_answered") {
            PositionAnswer& answer = of(text_in(event, "position"), text_in(event, "title"));
            answer.answered = true;
            answer.go = flag_in(event, "go");
            answer.by = text_in(event, "by");
            answer.note = text_in(event, "note");
            answer.t_ns = event.t_ns;
        }
    }
    return answers;
}

/// The last word of a vehicle's board.
const Event* last_word(const Recorded& recorded, std::size_t vehicle) {
    const Event* last = nullptr;
    const Window window = polled_window(recorded);
    for (const Event& event : recorded.events())
        if (event.vehicle == static_cast<int>(vehicle) && event.t_ns < window.to_ns &&
            (what(event) == "ready" || what(event) == "not_ready"))
            last = &event;
    return last;
}

Markup board_of(const Recorded& recorded, std::size_t vehicle) {
    const VehicleDescription& about = recorded.setup().vehicles[vehicle];
    Markup content;
    for (const CheckGroup& group : about.readiness->groups)
        content += element("h3", group.title) +
                   checks_table(check_results(recorded, vehicle, group.checks, "", polled_window(recorded)));
    return content.empty() ? Markup() : chapter("Readiness of " + about.title, content);
}

Markup answers_table(const std::vector<PositionAnswer>& answers, const ReportClock& clock) {
    LedgerTable table({{"Position"}, {"Says"}, {"by"}, {"at, UTC"}, {"Note"}});
    for (const PositionAnswer& answer : answers) {
        const std::string says =
            answer.answered ? (answer.go ? "go" : "no go") : (answer.asked ? "asked" : "not asked");
        std::vector<Markup> cells{Markup::text(answer.title), strong(says), Markup::text(answer.by),
                                  Markup::text(answer.asked || answer.answered ? clock.utc(answer.t_ns) : ""),
                                  Markup::text(answer.note)};
        if (answer.answered && answer.go)
            table.row(std::move(cells));
        else
            table.marked_row(std::move(cells));
    }
    return table.markup();
}

Markup changes_table(const Recorded& recorded, const ReportClock& clock) {
    LedgerTable table({{"UTC"}, {"What happened"}});
    for (const Event& event : recorded.events())
        if (event.kind == EventKind::readiness || event.kind == EventKind::countdown)
            table.row({Markup::text(clock.utc(event.t_ns)), Markup::text(event.text)});
    return table.empty() ? Markup() : table.markup(kChangesMost);
}

} // namespace

bool has_poll(const Recorded& recorded) {
    return std::ranges::any_of(
        recorded.events(),
        [](const Event& event) {
            const std::string_view word = what(event);
            return word == "poll_asked" || word == "poll_answered" || word == "ready";
        });
}

std::string poll_sentence(const Recorded& recorded) {
    std::string text;
    for (std::size_t vehicle = 0; vehicle < recorded.setup().vehicles.size(); ++vehicle)
        if (const Event* last = last_word(recorded, vehicle)) text += (text.empty() ? "" : " ") + last->text + ".";
    for (const PositionAnswer& answer : answers_of(recorded))
        if (answer.answered && !answer.go && text.find(answer.title) == std::string::npos)
            text += fmt::format("{}{} says no go.", text.empty() ? "" : " ", answer.title);
    return text.empty() ? "The poll is not complete." : text;
}

Markup poll_chapters(const Recorded& recorded) {
    const ReportClock clock(recorded, std::nullopt);
    Markup content = kept_chapter("Poll", answers_table(answers_of(recorded), clock));
    for (std::size_t vehicle = 0; vehicle < recorded.setup().vehicles.size(); ++vehicle)
        if (recorded.setup().vehicles[vehicle].readiness) content += board_of(recorded, vehicle);
    if (const Markup changes = changes_table(recorded, clock); !changes.empty())
        content += chapter("How it went", changes);
    return content;
}

std::vector<std::string> polled_positions(const Recorded& recorded) {
    std::vector<std::string> titles;
    for (const PositionAnswer& answer : answers_of(recorded)) titles.push_back(answer.title);
    return titles;
}

} // namespace turnstone::report
