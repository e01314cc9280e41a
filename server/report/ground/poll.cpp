#include "server/report/ground/poll.hpp"

#include <algorithm>

#include <fmt/format.h>

#include "server/report/chapters/clock.hpp"
#include "server/report/ground/checks.hpp"
#include "server/report/ground/evidence.hpp"
#include "server/report/ground/holds.hpp"
#include "server/report/page/page.hpp"
#include "server/report/page/table.hpp"
#include "server/report/text/figure.hpp"

namespace turnstone::report {

namespace {

constexpr std::size_t kChangesMost = 100;

struct PositionAnswer {
    std::string id, title;
    bool asked = false, answered = false, go = false;
    std::string by, note;
    std::int64_t t_ns = 0;
};

/// What leads to one liftoff of a vehicle, at which answers are spent, or to the end of the recording.
struct PollRound {
    std::size_t vehicle;
    Window window;
    std::string when; ///< "before liftoff 2 of Sanderling"; empty: the only one
};

bool has_position(const VehicleDescription& vehicle, const std::string& id) {
    return vehicle.readiness &&
           std::ranges::find(vehicle.readiness->positions, id, &Position::id) != vehicle.readiness->positions.end();
}

bool is_of_poll(const Event& event) {
    return what(event) == "poll_asked" || what(event) == "poll_answered";
}

bool is_polled(const Recorded& recorded, std::size_t vehicle, std::int64_t from_ns) {
    return std::ranges::any_of(
        recorded.events(),
        [&](const Event& event) {
            if (event.t_ns < from_ns) return false;
            if (is_of_poll(event)) return has_position(recorded.setup().vehicles[vehicle], text_in(event, "position"));
            return what(event) == "ready" && event.vehicle == static_cast<int>(vehicle);
        });
}

std::vector<PollRound> rounds_of(const Recorded& recorded) {
    std::vector<PollRound> rounds;
    for (std::size_t vehicle = 0; vehicle < recorded.setup().vehicles.size(); ++vehicle) {
        const VehicleDescription& about = recorded.setup().vehicles[vehicle];
        if (!about.readiness) continue;
        Window window = recorded.whole();
        int liftoffs = 0;
        for (const Event& event : recorded.events()) {
            if (what(event) != "readiness_at_liftoff" || event.vehicle != static_cast<int>(vehicle)) continue;
            rounds.push_back({vehicle,
                              {window.from_ns, event.t_ns + 1},
                              fmt::format("before liftoff {} of {}", ++liftoffs, about.title)});
            window.from_ns = event.t_ns + 1;
        }
        if (liftoffs == 0 || is_polled(recorded, vehicle, window.from_ns))
            rounds.push_back(
                {vehicle, window,
                 liftoffs == 0 ? "of " + about.title : fmt::format("after liftoff {} of {}", liftoffs, about.title)});
    }
    if (rounds.size() == 1) rounds.front().when.clear();
    return rounds;
}

std::vector<PositionAnswer> answers_of(const Recorded& recorded, const PollRound& round) {
    std::vector<PositionAnswer> answers;
    for (const Position& position : recorded.setup().vehicles[round.vehicle].readiness->positions)
        answers.push_back({.id = position.id, .title = position.title, .by = {}, .note = {}});
    for (const Event& event : recorded.events()) {
        if (event.t_ns < round.window.from_ns || event.t_ns >= round.window.to_ns) continue;
        const bool other_left = what(event) == "readiness_at_liftoff" && event.vehicle >= 0 &&
                                event.vehicle != static_cast<int>(round.vehicle);
        for (PositionAnswer& answer : answers) {
            if (other_left &&
                has_position(recorded.setup().vehicles.at(static_cast<std::size_t>(event.vehicle)), answer.id))
                answer = {.id = answer.id, .title = answer.title, .by = {}, .note = {}};
            if (!is_of_poll(event) || text_in(event, "position") != answer.id) continue;
            answer.t_ns = event.t_ns;
            answer.answered = what(event) == "poll_answered";
            answer.asked = answer.asked || !answer.answered;
            if (!answer.answered) continue;
            answer.go = flag_in(event, "go");
            answer.by = text_in(event, "by");
            answer.note = text_in(event, "note");
        }
    }
    return answers;
}

/// The last word of a vehicle's board.
const Event* last_word(const Recorded& recorded, const PollRound& round) {
    const Event* last = nullptr;
    for (const Event& event : recorded.events())
        if (event.vehicle == static_cast<int>(round.vehicle) && event.t_ns >= round.window.from_ns &&
            event.t_ns < round.window.to_ns && (what(event) == "ready" || what(event) == "not_ready"))
            last = &event;
    return last;
}

Markup board_of(const Recorded& recorded, const PollRound& round) {
    const VehicleDescription& about = recorded.setup().vehicles[round.vehicle];
    Markup content, strips;
    for (const CheckGroup& group : about.readiness->groups) {
        const auto results = check_results(recorded, round.vehicle, group.checks, "", round.window);
        content += element("h3", group.title) + checks_table(results);
        for (std::size_t i = 0; i < results.size(); ++i)
            strips += evidence_strip(
                recorded, {round.vehicle, group.checks[i], results[i], "", round.window.to_ns - 1, round.window});
    }
    if (content.empty()) return {};
    return chapter(round.when.empty() ? "Readiness of " + about.title : "Readiness " + round.when, content) +
           evidence_chapter(round.when.empty() ? "Evidence" : "Evidence " + round.when, strips);
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
        recorded.events(), [](const Event& event) { return is_of_poll(event) || what(event) == "ready"; });
}

std::string poll_sentence(const Recorded& recorded) {
    std::string text;
    for (const PollRound& round : rounds_of(recorded)) {
        std::string said;
        if (const Event* last = last_word(recorded, round)) said = last->text + ".";
        for (const PositionAnswer& answer : answers_of(recorded, round))
            if (answer.answered && !answer.go && said.find(answer.title) == std::string::npos)
                said += fmt::format("{}{} says no go.", said.empty() ? "" : " ", answer.title);
        if (said.empty()) continue;
        text += (text.empty() ? "" : " ") + (round.when.empty() ? said : capital(round.when) + ": " + said);
    }
    return text.empty() ? "The poll is not complete." : text;
}

Markup poll_chapters(const Recorded& recorded) {
    const ReportClock clock(recorded, std::nullopt);
    Markup content;
    for (const PollRound& round : rounds_of(recorded))
        content += kept_chapter(round.when.empty() ? "Poll" : "Poll " + round.when,
                                answers_table(answers_of(recorded, round), clock)) +
                   board_of(recorded, round);
    content += holds_chapter(recorded);
    if (const Markup changes = changes_table(recorded, clock); !changes.empty())
        content += chapter("How it went", changes);
    return content;
}

std::vector<std::string> polled_positions(const Recorded& recorded) {
    std::vector<std::string> titles;
    for (const VehicleDescription& vehicle : recorded.setup().vehicles)
        if (vehicle.readiness)
            for (const Position& position : vehicle.readiness->positions)
                if (std::ranges::find(titles, position.title) == titles.end()) titles.push_back(position.title);
    return titles;
}

} // namespace turnstone::report
