#include "server/debrief/flights/chapters.hpp"

#include <algorithm>
#include <array>
#include <chrono>
#include <iterator>
#include <utility>

#include <fmt/format.h>

namespace turnstone::debrief {

namespace {

struct Moment {
    std::string_view event;
    std::optional<std::int64_t> Chapter::*t_ns;
    double Chapter::*sigma_s;
};
constexpr Moment kMoments[] = {{"burnout", &Chapter::burnout_ns, &Chapter::burnout_sigma_s},
                               {"apogee", &Chapter::apogee_ns, &Chapter::apogee_sigma_s},
                               {"drogue_out", &Chapter::drogue_out_ns, &Chapter::drogue_out_sigma_s},
                               {"main_out", &Chapter::main_out_ns, &Chapter::main_out_sigma_s},
                               {"touchdown", &Chapter::touchdown_ns, &Chapter::touchdown_sigma_s}};

void describe(const Event& event, Chapter& chapter) {
    for (const EventValue& value : event.values) {
        if (const auto* text = std::get_if<std::string>(&value.value)) {
            if (value.name == "notes") chapter.notes = *text;
            if (value.name == "configuration") chapter.configuration = *text;
        } else if (const auto* texts = std::get_if<std::vector<std::string>>(&value.value)) {
            if (value.name == "tags") chapter.tags = *texts;
        }
    }
}

void forget_flight(Chapter& chapter) {
    chapter.liftoff_ns.reset();
    for (const Moment& moment : kMoments) (chapter.*moment.t_ns).reset();
    chapter.phases.clear();
}

void take(const Event& event, Chapter& chapter) {
    const std::string_view word = what(event);
    if (word == "flight_named") {
        chapter.name = text_in(event, "name");
    } else if (word == "flight_described") {
        describe(event, chapter);
    } else if (word == "liftoff") {
        forget_flight(chapter);
        chapter.liftoff_ns = event.t_ns;
        chapter.liftoff_sigma_s = event.t_sigma_s;
    } else if (word == "false_liftoff") {
        forget_flight(chapter);
    } else if (!chapter.liftoff_ns || event.t_ns < *chapter.liftoff_ns) {
        return;
    } else if (word == "phase_began") {
        chapter.phases.push_back({text_in(event, "phase"), event.t_ns, event.t_sigma_s, chapter.window.to_ns});
    } else {
        for (const Moment& moment : kMoments) {
            if (word != moment.event) continue;
            chapter.*moment.t_ns = event.t_ns;
            chapter.*moment.sigma_s = event.t_sigma_s;
        }
    }
}

/// Whether it came down without a parachute: by the phase before it was down.
bool fell(const Chapter& chapter) {
    const auto down = std::ranges::find(chapter.phases, "down", &ChapterPhase::word);
    if (down == chapter.phases.begin() || down == chapter.phases.end()) return false;
    const std::string& before = std::prev(down)->word;
    return before == "coasting" || before == "falling (no parachute)";
}

void settle(const Recorded& recorded, Chapter& chapter) {
    for (std::size_t i = 0; i < chapter.phases.size(); ++i)
        chapter.phases[i].until_ns = i + 1 < chapter.phases.size() ? chapter.phases[i + 1].t_ns : chapter.window.to_ns;
    if (chapter.touchdown_ns) {
        chapter.ended = fell(chapter) ? Ended::impact : Ended::touchdown;
        return;
    }
    bool silent = !chapter.phases.empty() && chapter.phases.back().word == "presumed down";
    bool unbraked = false;
    for (const Event& event : recorded.events()) {
        if (event.vehicle != static_cast<int>(chapter.vehicle) || event.t_ns < chapter.window.from_ns ||
            event.t_ns >= chapter.window.to_ns)
            continue;
        const std::string_view word = what(event);
        if (word == "signal_lost") silent = true;
        if (word == "signal_reacquired" || word == "drogue_out" || word == "main_out") unbraked = false;
        if (word == "signal_reacquired") silent = false;
        // An alert whose end was not heard ended nothing.
        if (word == "no_parachute" && event.kind == EventKind::alert_raised) unbraked = true;
        if (word == "no_parachute" && event.kind == EventKind::alert_cleared && !silent)
            unbraked = flag_in(event, "silent");
    }
    chapter.ended = !silent ? Ended::under_way : unbraked ? Ended::presumed_impact : Ended::presumed_down;
}

} // namespace

Window Chapter::flown() const {
    Window flown{liftoff_ns.value_or(window.from_ns), window.to_ns};
    if (touchdown_ns)
        flown.to_ns = *touchdown_ns;
    else if (!phases.empty() && phases.back().word == "presumed down")
        flown.to_ns = phases.back().t_ns;
    return flown;
}

std::optional<std::int64_t> Chapter::began(std::string_view phase) const {
    const auto found = std::ranges::find(phases, phase, &ChapterPhase::word);
    return found == phases.end() ? std::nullopt : std::optional(found->t_ns);
}

std::string flight_name(const std::string& given, std::int64_t utc_liftoff_ns) {
    if (!given.empty()) return given;
    constexpr std::array kMonths{"Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
    const std::chrono::sys_time<std::chrono::nanoseconds> at{std::chrono::nanoseconds(utc_liftoff_ns)};
    const auto day = std::chrono::floor<std::chrono::days>(at);
    const std::chrono::year_month_day date(day);
    const std::chrono::hh_mm_ss time(std::chrono::floor<std::chrono::minutes>(at - day));
    return fmt::format("{} {} {} {:02}:{:02} UTC", static_cast<unsigned>(date.day()),
                       kMonths[static_cast<unsigned>(date.month()) - 1], static_cast<int>(date.year()),
                       time.hours().count(), time.minutes().count());
}

std::vector<Chapter> chapters_in(const Recorded& recorded) {
    std::vector<Chapter> all;
    for (std::size_t vehicle = 0; vehicle < recorded.setup().vehicles.size(); ++vehicle) {
        std::vector<Chapter> chapters{{.vehicle = vehicle, .number = 1, .window = recorded.whole()}};
        for (const Event& event : recorded.events()) {
            if (event.vehicle != static_cast<int>(vehicle)) continue;
            if (what(event) == "ready_again") {
                chapters.back().window.to_ns = event.t_ns;
                chapters.push_back({.vehicle = vehicle,
                                    .number = chapters.size() + 1,
                                    .window = {event.t_ns, recorded.whole().to_ns}});
            } else {
                take(event, chapters.back());
            }
        }
        for (Chapter& chapter : chapters) settle(recorded, chapter);
        std::ranges::move(chapters, std::back_inserter(all));
    }
    return all;
}

} // namespace turnstone::debrief
