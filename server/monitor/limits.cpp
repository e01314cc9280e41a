#include "server/monitor/limits.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "shared/time.hpp"

namespace turnstone {

namespace {

/// A rate is of this much time at least: over less the noise of two values is most of it.
constexpr std::int64_t kRateOverNs = kNsPerS;
/// After this long a vehicle counts as silent, and its channels have time again once it is heard.
constexpr std::int64_t kSilenceNs = kNsPerS;
/// From a charge's pressure pulse to the row that shows its igniter open, either way: rows are some time apart.
constexpr double kFires_s = 3;

static_assert(kPhaseNames.size() == kWords<estimate::Phase>.size());
static_assert(std::ranges::equal(kPhaseNames, estimate::kPhaseWords, {}, {}, &estimate::PhaseWords::key));

constexpr Level level_of(Urgency urgency) {
    constexpr std::array kLevels{Level::advisory, Level::caution, Level::warning};
    return kLevels[static_cast<std::size_t>(urgency)];
}

EventId event_of(AlertCause cause) {
    switch (cause) {
    case AlertCause::below:
    case AlertCause::above:
    case AlertCause::rate: break;
    case AlertCause::stuck: return EventId::channel_stuck;
    case AlertCause::stale: return EventId::channel_stale;
    case AlertCause::expected: return EventId::unexpected_state;
    }
    return EventId::limit;
}

AlertRule rule_of(const ChannelAlert& alert) {
    const AlertRule& usual = alert_rule(event_of(alert.cause));
    Phases inhibited;
    for (std::size_t p = 0; p < kPhaseNames.size() && !alert.phases.empty(); ++p)
        if (std::ranges::find(alert.phases, p) == alert.phases.end()) inhibited.add(static_cast<estimate::Phase>(p));
    return {.on_delay_s = alert.on_delay_s.value_or(usual.on_delay_s),
            .off_delay_s = alert.off_delay_s.value_or(usual.off_delay_s),
            .latching = alert.is_latching,
            .inhibited = inhibited};
}

std::string_view side_of(AlertCause cause) {
    if (cause == AlertCause::below) return "low";
    return cause == AlertCause::above ? "high" : "rate";
}

/// What the key of an alert ends with; two of one kind on one channel are told apart by their number.
std::string about_of(const std::string& table, const Channel& channel, std::size_t index) {
    const ChannelAlert& alert = channel.field->alerts[index];
    std::string about = table + "." + channel.name;
    if (event_of(alert.cause) == EventId::limit) about += "/" + std::string(side_of(alert.cause));
    const auto same = [&](const ChannelAlert& other) { return other.cause == alert.cause; };
    const auto before = std::count_if(channel.field->alerts.begin(),
                                      channel.field->alerts.begin() + static_cast<std::ptrdiff_t>(index), same);
    return before == 0 ? about : about + "/" + std::to_string(before + 1);
}

std::string value_text(const Field& field, double value) {
    for (const auto& [raw, word] : field.enumeration)
        if (static_cast<double>(raw) == value) return word;
    std::string text = std::to_string(value);
    text.erase(text.find_last_not_of('0') + 1);
    if (text.ends_with('.')) text.pop_back();
    return text;
}

} // namespace

std::vector<ColumnLimit> drawn_limits(const Channel& channel) {
    std::vector<ColumnLimit> limits;
    if (channel.is_text()) return limits;
    for (const ChannelAlert& alert : channel.field->alerts) {
        if (alert.cause != AlertCause::below && alert.cause != AlertCause::above) continue;
        for (std::size_t u = 0; u < alert.limits.size(); ++u)
            if (alert.limits[u])
                limits.push_back({.is_low = alert.cause == AlertCause::below,
                                  .level = level_of(static_cast<Urgency>(u)),
                                  .value = *alert.limits[u]});
    }
    return limits;
}

LimitWatch::LimitWatch(const Dictionary& dictionary, const Schema& schema)
    : schema_(&schema), is_packet_(schema.tables.size()) {
    for (const ChannelTable& source : dictionary.tables) {
        const auto table = std::ranges::find(schema.tables, dictionary.vehicle + "/" + source.name, &Table::name);
        if (table == schema.tables.end()) continue;
        is_packet_[table->id] = true;
        vehicle_ = table->vehicle;
        const std::size_t first = watched_.size();
        for (const Channel& channel : source.channels)
            for (std::size_t k = 0; k < channel.field->alerts.size() && !channel.is_word; ++k) {
                const ChannelAlert& alert = channel.field->alerts[k];
                watched_.push_back({.channel = &channel,
                                    .alert = &alert,
                                    .place = channel.place - (channel.is_text() ? table->number_count : 0),
                                    .about = about_of(source.name, channel, k),
                                    .rule = rule_of(alert)});
                add_gate(watched_.back(), dictionary);
            }
        if (watched_.size() > first) tables_.push_back({table->id, first, watched_.size()});
    }
}

void LimitWatch::add_gate(Watched& watched, const Dictionary& dictionary) {
    const AlertWhile& only = watched.alert->only_while;
    if (only.channel.empty()) return;
    for (const ChannelTable& source : dictionary.tables)
        for (const Channel& channel : source.channels) {
            if (channel.is_text() || source.name + "." + channel.name != only.channel) continue;
            const auto table = std::ranges::find(schema_->tables, dictionary.vehicle + "/" + source.name, &Table::name);
            if (table == schema_->tables.end()) return;
            watched.gate = static_cast<int>(gates_.size());
            gates_.push_back({.of = &only, .table = table->id, .place = channel.place});
        }
}

void LimitWatch::follow(Gate& gate, const RowRecord& row, double value) {
    if (std::isnan(value)) return;
    const bool holds = gate.of->above ? value > *gate.of->above : value < gate.of->below.value_or(value);
    if (!holds)
        gate.t_since_ns = kNever;
    else if (gate.t_since_ns == kNever)
        gate.t_since_ns = row.t_ns;
}

bool LimitWatch::counts(const Watched& watched, std::int64_t t_ns) const {
    if (watched.gate < 0) return true;
    const Gate& gate = gates_[static_cast<std::size_t>(watched.gate)];
    return gate.t_since_ns != kNever && seconds_between(gate.t_since_ns, t_ns) >= gate.of->for_s;
}

void LimitWatch::see(const Batch& batch, Marks from) {
    if (watched_.empty()) return;
    for (std::size_t k = from.events; k < batch.events.size(); ++k)
        if (batch.events[k].id == EventId::pressure_pulse && batch.events[k].vehicle == vehicle_)
            see_pulse(batch.events[k].t_ns);
    for (std::size_t k = from.rows; k < batch.rows.size(); ++k) {
        const RowRecord& row = batch.rows[k];
        if (!is_packet_[row.table]) continue;
        hear(row.t_rx_ns);
        for (Gate& gate : gates_)
            if (gate.table == row.table)
                follow(gate, row, batch.numbers_of(row, schema_->tables[row.table])[gate.place]);
        const auto rows = std::ranges::find(tables_, row.table, &TableRows::id);
        if (rows == tables_.end()) continue;
        for (std::size_t w = rows->first; w < rows->last; ++w)
            follow(watched_[w], batch, row, schema_->tables[row.table]);
    }
}

void LimitWatch::hear(std::int64_t t_rx_ns) noexcept {
    if (t_heard_ns_ == kNever || t_rx_ns - t_heard_ns_ > kSilenceNs) heard_since_ns_ = t_rx_ns;
    t_heard_ns_ = t_rx_ns;
}

void LimitWatch::see_pulse(std::int64_t t_ns) {
    t_pulse_ns_ = t_ns;
    for (Watched& watched : watched_) explain(watched);
}

void LimitWatch::explain(Watched& watched) const {
    const std::vector<Role>& roles = watched.channel->field->roles;
    const bool is_igniter = std::ranges::find(roles, Role::pyro_continuity) != roles.end();
    if (!is_igniter || watched.t_left_ns == kNever || t_pulse_ns_ == kNever) return;
    watched.fired |= std::abs(seconds_between(t_pulse_ns_, watched.t_left_ns)) < kFires_s;
}

void LimitWatch::follow(Watched& watched, const Batch& batch, const RowRecord& row, const Table& table) const {
    if (row.t_ns < watched.newest.t_ns) return; // a straggler
    if (watched.channel->is_text()) {
        watched.newest.t_ns = row.t_ns;
        watched.t_rx_ns = row.t_rx_ns;
        return;
    }
    const double value = batch.numbers_of(row, table)[watched.place];
    if (std::isnan(value)) return;
    if (watched.alert->cause == AlertCause::expected) {
        const auto& expected = watched.alert->expected;
        const auto is_expected = [&](double state) { return std::ranges::find(expected, state) != expected.end(); };
        const bool was_expected = watched.newest.t_ns != kNever && is_expected(watched.newest.value);
        if (is_expected(value)) {
            watched.t_left_ns = kNever;
            watched.fired = false;
        } else if (was_expected) {
            watched.t_left_ns = row.t_ns;
            explain(watched);
        }
    }
    watched.newest = {row.t_ns, value};
    watched.t_rx_ns = row.t_rx_ns;
    if (watched.steady.t_ns == kNever || std::abs(value - watched.steady.value) > watched.alert->deadband)
        watched.steady = watched.newest;
    if (watched.earlier.t_ns == kNever) {
        watched.earlier = watched.newest;
    } else if (row.t_ns - watched.earlier.t_ns >= kRateOverNs) {
        watched.rate = (value - watched.earlier.value) / seconds_between(watched.earlier.t_ns, row.t_ns);
        watched.earlier = watched.newest;
    }
}

/// The most urgent limit that the value is beyond; one it was beyond counts until it is back by the deadband.
int LimitWatch::beyond(const Watched& watched, double value) {
    const ChannelAlert& alert = *watched.alert;
    for (int u = static_cast<int>(alert.limits.size()) - 1; u >= 0; --u) {
        const auto& limit = alert.limits[static_cast<std::size_t>(u)];
        if (!limit) continue;
        const double deadband = u <= watched.level ? alert.deadband : 0;
        const double over = alert.cause == AlertCause::below ? *limit - value : value - *limit;
        if (over > -deadband) return u;
    }
    return -1;
}

bool LimitWatch::holds(Watched& watched, std::int64_t t_ns) const {
    const ChannelAlert& alert = *watched.alert;
    const bool any = watched.newest.t_ns != kNever;
    switch (alert.cause) {
    case AlertCause::below:
    case AlertCause::above: watched.level = any ? beyond(watched, watched.newest.value) : -1; return watched.level >= 0;
    case AlertCause::rate: watched.level = beyond(watched, std::abs(watched.rate)); return watched.level >= 0;
    case AlertCause::stuck: return any && seconds_between(watched.steady.t_ns, watched.newest.t_ns) >= alert.for_s;
    case AlertCause::stale: {
        if (t_heard_ns_ == kNever || t_ns - t_heard_ns_ > kSilenceNs) return false;
        return seconds_between(std::max(watched.t_rx_ns, heard_since_ns_), t_ns) >= alert.for_s;
    }
    case AlertCause::expected:
        return any && !watched.fired && std::ranges::find(alert.expected, watched.newest.value) == alert.expected.end();
    }
    return false;
}

Condition LimitWatch::condition(const Watched& watched, std::int64_t t_ns) const {
    const ChannelAlert& alert = *watched.alert;
    const Field& field = *watched.channel->field;
    Condition out{.id = event_of(alert.cause),
                  .about = watched.about,
                  .values = {{"title", watched.channel->title}},
                  .level = level_of(alert.urgency),
                  .advice = alert.advice,
                  .rule = &watched.rule};
    const auto say = [&](const char* name, auto value) { out.values.push_back({name, std::move(value)}); };
    switch (alert.cause) {
    case AlertCause::below:
    case AlertCause::above:
    case AlertCause::rate:
        out.level = level_of(static_cast<Urgency>(watched.level));
        say("side", std::string(side_of(alert.cause)));
        say("value", alert.cause == AlertCause::rate ? std::abs(watched.rate) : watched.newest.value);
        say("limit", *alert.limits[static_cast<std::size_t>(watched.level)]);
        say("unit", field.unit);
        say("decimals", static_cast<double>(field.decimals));
        break;
    case AlertCause::stuck:
        say("value", watched.newest.value);
        say("for_s", seconds_between(watched.steady.t_ns, watched.newest.t_ns));
        break;
    case AlertCause::stale:
        say("for_s", seconds_between(watched.t_rx_ns == kNever ? heard_since_ns_ : watched.t_rx_ns, t_ns));
        break;
    case AlertCause::expected: {
        say("state", value_text(field, watched.newest.value));
        std::vector<std::string> expected;
        for (const double value : alert.expected) expected.push_back(value_text(field, value));
        say("expected", std::move(expected));
        break;
    }
    }
    return out;
}

void LimitWatch::judge(std::int64_t t_ns, std::vector<Condition>& out) {
    for (Watched& watched : watched_)
        if (holds(watched, t_ns) && counts(watched, t_ns)) out.push_back(condition(watched, t_ns));
}

} // namespace turnstone
