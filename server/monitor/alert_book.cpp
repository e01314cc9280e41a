#include "server/monitor/alert_book.hpp"

#include <algorithm>
#include <utility>

#include "shared/time.hpp"

namespace turnstone {

namespace {

/// Carried alerts wait this long for the new recording's estimators and reports to say what is so.
constexpr std::int64_t kKeepNs = 10 * kNsPerS;

std::int64_t ns_of(double seconds) {
    return static_cast<std::int64_t>(seconds * 1e9);
}

/// Of an alert that may be raised for one of several causes.
std::string_view cause_of(const Event& event) {
    for (const EventValue& value : event.values)
        if (value.name == "cause" && std::holds_alternative<std::string>(value.value))
            return std::get<std::string>(value.value);
    return {};
}

} // namespace

AlertBook::Entry* AlertBook::find(std::string_view key) {
    const auto found =
        std::ranges::find(entries_, key, [](const Entry& entry) -> std::string_view { return entry.latest.key; });
    return found == entries_.end() ? nullptr : &*found;
}

/// The alert's, with what is newest of it; made when it is new.
AlertBook::Entry& AlertBook::entry(Event event, const AlertRule& rule) {
    Entry* known = find(event.key);
    if (known == nullptr) known = &entries_.emplace_back(Entry{.latest = {}, .rule = &rule});
    known->latest = std::move(event);
    known->rule = &rule;
    return *known;
}

bool AlertBook::counts(const Entry& entry) const {
    const int vehicle = entry.latest.vehicle;
    if (vehicle < 0) return entry.holds;
    const auto which = static_cast<std::size_t>(vehicle);
    const bool explained = lossy_.at(which) && alert_rule(entry.latest.id.value_or(EventId::note)).not_in_loss;
    return entry.holds && !explained && !entry.rule->inhibited.contain(phases_.at(which));
}

bool AlertBook::chatters(const Entry& entry, std::int64_t t_ns) const {
    const std::int64_t earliest_ns = entry.raised_ns.back();
    return earliest_ns != kNever && t_ns - earliest_ns < ns_of(kChatterWindow_s);
}

void AlertBook::take(Event event, std::int64_t t_ns, Batch& out) {
    const std::int64_t since_ns = event.t_ns;
    const AlertRule& rule = alert_rule(event.id.value_or(EventId::note));
    if (event.kind == EventKind::alert_raised) {
        found(entry(std::move(event), rule), true, since_ns, t_ns, out);
    } else if (Entry* known = find(event.key)) {
        known->over_values = std::move(event.values);
        known->over_text = std::move(event.text);
        found(*known, false, since_ns, t_ns, out);
    }
}

void AlertBook::judge(const EventVehicle& vehicle, const std::vector<Condition>& found_now, std::int64_t t_ns,
                      Batch& out) {
    for (const Condition& condition : found_now) {
        if (!condition.holds) continue;
        EstimateEvent happened{.id = condition.id,
                               .t_ns = t_ns,
                               .about = condition.about,
                               .values = condition.values,
                               .level = condition.level,
                               .advice = condition.advice};
        Entry& known = entry(make_event(happened, t_ns, vehicle),
                             condition.rule != nullptr ? *condition.rule : alert_rule(condition.id));
        happened.cleared = true;
        Event over = make_event(std::move(happened), t_ns, vehicle);
        known.over_text = std::move(over.text);
        known.over_values = std::move(over.values);
        known.is_watched = true;
        known.found_ns = t_ns;
        found(known, true, t_ns, t_ns, out);
    }
    for (Entry& known : entries_)
        if (known.is_watched && known.latest.vehicle == vehicle.index && known.found_ns != t_ns && known.holds)
            found(known, false, t_ns, t_ns, out);
}

void AlertBook::found(Entry& entry, bool holds, std::int64_t since_ns, std::int64_t t_ns, Batch& out) {
    entry.holds = holds;
    settle(entry, since_ns, t_ns, out);
}

void AlertBook::tick(std::int64_t t_ns, Batch& out) {
    for (Entry& entry : entries_) {
        settle(entry, t_ns, t_ns, out);
        if (entry.shelved_until_ns && t_ns >= *entry.shelved_until_ns) unshelve(entry, t_ns, out);
    }
}

/// `since_ns`: when what is so became so, if it is news.
void AlertBook::settle(Entry& entry, std::int64_t since_ns, std::int64_t t_ns, Batch& out) {
    const AlertRule& rule = *entry.rule;
    const bool counts_now = counts(entry);
    if (std::exchange(entry.counts, counts_now) != counts_now) entry.since_ns = since_ns;
    const bool chatter = chatters(entry, t_ns);
    const bool may_raise = !chatter || t_ns - entry.raised_ns.front() >= ns_of(kChatterQuiet_s);
    if (counts_now && !is_active(entry.state)) {
        if (may_raise && t_ns - entry.since_ns >= ns_of(rule.on_delay_s)) raise(entry, t_ns, out);
    } else if (counts_now) {
        const bool differs = entry.latest.level != entry.shown.level || cause_of(entry.latest) != cause_of(entry.shown);
        if (!differs)
            entry.differs_since_ns = kNever;
        else if (entry.differs_since_ns == kNever)
            entry.differs_since_ns = t_ns;
        const double delay_s = entry.latest.level < entry.shown.level ? rule.off_delay_s : rule.on_delay_s;
        if (differs && may_raise && t_ns - entry.differs_since_ns >= ns_of(delay_s)) raise(entry, t_ns, out);
    } else if (is_active(entry.state)) {
        const double delay_s = chatter ? std::max(kChatterQuiet_s, rule.off_delay_s) : rule.off_delay_s;
        if (t_ns - entry.since_ns >= ns_of(delay_s) && t_ns >= entry.keep_until_ns) clear(entry, t_ns, out);
    }
}

const Event* AlertBook::leading(int vehicle, const std::vector<std::string>& links, std::int64_t t_ns) const {
    const auto concerns = [&](const Event& event) {
        if (event.vehicle >= 0) return event.vehicle == vehicle;
        constexpr std::string_view kLink = "link/";
        if (!event.key.starts_with(kLink)) return true;
        return std::ranges::any_of(links, [&](const std::string& link) {
            return event.key.compare(kLink.size(), link.size() + 1, link + "/") == 0;
        });
    };
    const auto leads = [&](const Entry& entry) {
        if (entry.shelved_until_ns || entry.shown.level < Level::caution || !concerns(entry.shown)) return false;
        if (entry.state == AlertState::acknowledged) return entry.shown.level == Level::warning;
        const std::int64_t told_ns = entry.raised_ns.front();
        const bool fresh = told_ns != kNever && t_ns - told_ns < ns_of(kToldFor_s);
        return entry.state == AlertState::unacknowledged || (entry.state == AlertState::latched && fresh);
    };
    const auto urgency = [](const Entry& entry) { return std::pair(entry.shown.level, entry.raised_ns.front()); };
    const Entry* first = nullptr;
    for (const Entry& entry : entries_)
        if (leads(entry) && (first == nullptr || urgency(entry) > urgency(*first))) first = &entry;
    return first == nullptr ? nullptr : &first->shown;
}

void AlertBook::raise(Entry& entry, std::int64_t t_ns, Batch& out) {
    const bool again = is_active(entry.state);
    entry.state = next_state(entry.state, AlertStep::raise, entry.rule->latching);
    std::shift_right(entry.raised_ns.begin(), entry.raised_ns.end(), 1);
    entry.raised_ns.front() = t_ns;
    entry.shown = entry.latest;
    entry.shown.t_ns = again ? entry.differs_since_ns : entry.since_ns;
    entry.shown.t_found_ns = t_ns;
    entry.differs_since_ns = kNever;
    entry.keep_until_ns = kNever;
    out.events.push_back(entry.shown);
}

void AlertBook::clear(Entry& entry, std::int64_t t_ns, Batch& out) {
    entry.state = next_state(entry.state, AlertStep::end, entry.rule->latching);
    if (entry.state != AlertState::latched) say_cleared(entry, t_ns, out);
}

void AlertBook::say_cleared(const Entry& entry, std::int64_t t_ns, Batch& out) {
    Event event = entry.shown;
    event.kind = EventKind::alert_cleared;
    event.t_ns = entry.since_ns;
    event.t_found_ns = t_ns;
    event.t_sigma_s = 0;
    event.text = entry.over_text;
    if (!entry.over_values.empty()) event.values = entry.over_values;
    event.advice.clear();
    out.events.push_back(std::move(event));
}

void AlertBook::take(const Acknowledge& what, std::int64_t t_ns, Batch& out) {
    Entry* entry = find(what.key);
    if (entry != nullptr) acknowledge(*entry, t_ns, out);
}

void AlertBook::acknowledge(Entry& entry, std::int64_t t_ns, Batch& out) {
    const AlertState before = entry.state;
    entry.state = next_state(before, AlertStep::acknowledge, entry.rule->latching);
    if (entry.state == before) return;
    out.events.push_back(event_of_alert(entry.shown, EventKind::alert_acknowledged, t_ns));
    if (before == AlertState::latched) say_cleared(entry, t_ns, out);
}

void AlertBook::take(const Shelve& what, std::int64_t t_ns, Batch& out) {
    Entry* entry = find(what.key);
    if (entry == nullptr || entry->shown.key.empty() || !(what.for_s > 0)) return;
    entry->shelved_until_ns = t_ns + ns_of(what.for_s);
    out.events.push_back(event_of_alert(entry->shown, EventKind::alert_shelved, t_ns, {{"for_s", what.for_s}}));
}

void AlertBook::take(const Unshelve& what, std::int64_t t_ns, Batch& out) {
    Entry* entry = find(what.key);
    if (entry != nullptr && entry->shelved_until_ns) unshelve(*entry, t_ns, out);
}

void AlertBook::unshelve(Entry& entry, std::int64_t t_ns, Batch& out) {
    entry.shelved_until_ns.reset();
    entry.state = next_state(entry.state, AlertStep::unshelve, entry.rule->latching);
    out.events.push_back(event_of_alert(entry.shown, EventKind::alert_unshelved, t_ns));
}

std::vector<CarriedAlert> AlertBook::carried(std::int64_t t_ns) const {
    std::vector<CarriedAlert> out;
    for (const Entry& entry : entries_) {
        const bool is_raised = is_active(entry.state) || entry.state == AlertState::latched;
        if (!is_raised && !entry.shelved_until_ns) continue;
        CarriedAlert alert{.raised = entry.shown, .state = entry.state};
        if (entry.shelved_until_ns) alert.shelved_s = seconds_between(t_ns, *entry.shelved_until_ns);
        if (entry.shown.vehicle >= 0) alert.vehicle = vehicles_.at(static_cast<std::size_t>(entry.shown.vehicle));
        alert.raised.vehicle = -1; // as it is read from a recording
        alert.raised.t_found_ns = alert.raised.t_ns;
        out.push_back(std::move(alert));
    }
    return out;
}

void AlertBook::take(const CarriedAlert& what, std::int64_t t_start_ns, std::int64_t t_ns, Batch& out) {
    const auto place = std::ranges::find(vehicles_, what.vehicle);
    if (place == vehicles_.end() && !what.vehicle.empty()) return;
    const auto is_raised = [](AlertState state) { return is_active(state) || state == AlertState::latched; };
    Entry* known = find(what.raised.key);
    if (known == nullptr || !is_raised(known->state)) { // else the inputs that were carried over have raised it again
        Event event = what.raised;
        event.vehicle = what.vehicle.empty() ? -1 : static_cast<int>(place - vehicles_.begin());
        event.t_ns = std::max(event.t_ns, t_start_ns);
        event.t_found_ns = t_ns;
        known = &entry(event, alert_rule(event.id.value_or(EventId::note)));
        known->shown = event;
        if (known->over_text.empty()) known->over_text = "Over: " + event.text;
        known->since_ns = t_ns;
        if (is_raised(what.state)) {
            known->state = what.state == AlertState::latched ? AlertState::latched : AlertState::unacknowledged;
            known->keep_until_ns = t_ns + kKeepNs;
            out.events.push_back(std::move(event));
        }
    }
    if (what.state == AlertState::acknowledged) acknowledge(*known, t_ns, out);
    if (what.shelved_s > 0) take(Shelve{.key = what.raised.key, .for_s = what.shelved_s}, t_ns, out);
}

void AlertBook::recall(const Event& event) {
    Entry* known = find(event.key);
    if (known == nullptr) known = &entry(event, alert_rule(event.id.value_or(EventId::note)));
    const bool latching = known->rule->latching;
    switch (event.kind) {
    case EventKind::alert_raised:
        known->latest = known->shown = event;
        known->state = next_state(known->state, AlertStep::raise, latching);
        known->holds = known->counts = true;
        known->since_ns = event.t_ns;
        std::shift_right(known->raised_ns.begin(), known->raised_ns.end(), 1);
        known->raised_ns.front() = event.t_found_ns;
        break;
    case EventKind::alert_cleared:
        known->state = next_state(known->state, AlertStep::end, latching);
        known->holds = known->counts = false;
        known->since_ns = event.t_ns;
        break;
    case EventKind::alert_acknowledged:
        known->state = next_state(known->state, AlertStep::acknowledge, latching);
        break;
    case EventKind::alert_shelved:
        for (const EventValue& value : event.values)
            if (value.name == "for_s" && std::holds_alternative<double>(value.value))
                known->shelved_until_ns = event.t_ns + ns_of(std::get<double>(value.value));
        break;
    case EventKind::alert_unshelved:
        known->state = next_state(known->state, AlertStep::unshelve, latching);
        known->shelved_until_ns.reset();
        break;
    default: break;
    }
}

} // namespace turnstone
