#include "server/pipeline/station/countdown_clock.hpp"

#include <cmath>

#include "server/pipeline/events.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

/// A liftoff farther from T-0 has nothing to do with it.
constexpr double kMeant_s = 600;

} // namespace

void CountdownClock::take(const Countdown& step, std::int64_t t_ns, Batch& out) {
    switch (step.step) {
    case CountdownStep::run:
        zero_ns_ = step.zero_ns;
        held_s_.reset();
        break;
    case CountdownStep::hold:
        if (step.left_s)
            held_s_ = step.left_s;
        else if (zero_ns_)
            held_s_ = seconds_between(t_ns, *zero_ns_);
        else if (!held_s_ || step.reason.empty())
            return;
        zero_ns_.reset();
        break;
    case CountdownStep::resume:
        if (!held_s_) return;
        zero_ns_ = t_ns + seconds_to_ns(*held_s_);
        held_s_.reset();
        break;
    case CountdownStep::off:
        if (!zero_ns_ && !held_s_) return;
        zero_ns_.reset();
        held_s_.reset();
        break;
    }
    why_held_ = step.reason;
    say(t_ns, out);
}

void CountdownClock::say(std::int64_t t_ns, Batch& out) const {
    EstimateEvent event{.id = EventId::countdown_off, .t_ns = t_ns};
    if (zero_ns_) {
        event.id = EventId::countdown_runs;
        event.values = {{"left_s", seconds_between(t_ns, *zero_ns_)}};
    } else if (held_s_) {
        event.id = EventId::countdown_held;
        event.values = {{"left_s", *held_s_}};
        if (!why_held_.empty()) event.values.push_back({"reason", why_held_});
    }
    out.events.push_back(make_event(std::move(event), t_ns));
}

void CountdownClock::see(Batch& batch, Marks from) {
    if (!zero_ns_) return;
    for (std::size_t i = from.events; i < batch.events.size(); ++i) {
        const Event& event = batch.events[i];
        if (event.id != EventId::liftoff) continue;
        const double late_s = seconds_between(*zero_ns_, event.t_ns);
        if (std::abs(late_s) > kMeant_s) return;
        batch.events.push_back(make_event({.id = EventId::liftoff_against_countdown,
                                           .t_ns = event.t_ns,
                                           .t_sigma_s = event.t_sigma_s,
                                           .values = {{"late_s", late_s}}},
                                          event.t_found_ns));
        return;
    }
}

std::optional<Countdown> CountdownClock::carried() const {
    if (zero_ns_) return Countdown{.step = CountdownStep::run, .zero_ns = *zero_ns_};
    if (held_s_) return Countdown{.step = CountdownStep::hold, .left_s = held_s_, .reason = why_held_};
    return std::nullopt;
}

} // namespace turnstone
