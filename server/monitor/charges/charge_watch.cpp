#include "server/monitor/charges/charge_watch.hpp"

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <utility>

#include "protocol/dictionary/roles.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

/// Tells two firings of one charge from two pieces of evidence of one. To load a charge takes minutes.
constexpr std::int64_t kSameFiringNs = 20 * kNsPerS;
/// Poorer evidence waits this long for better.
constexpr std::int64_t kBetterMayComeNs = 2 * kNsPerS;
constexpr std::int64_t kPulseWithShockNs = kNsPerS / 2;
constexpr double kCurrentFlows_a = 0.5;
// Of the time of a firing. Packets date it by whole milliseconds; a person has a reaction.
constexpr double kToldSigma_s = 0.001, kCurrentSigma_s = 0.001, kShockSigma_s = 0.05, kMarkerSigma_s = 1.0;
/// What a slow radio may need longer than the analysis looks.
constexpr double kLater_s = 0.5;

std::string in_lower_case(std::string text) {
    std::ranges::transform(text, text.begin(),
                           [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; });
    return text;
}

std::int64_t seconds_after(std::int64_t t_ns, double seconds) {
    return t_ns + static_cast<std::int64_t>(std::llround(seconds * 1e9));
}

} // namespace

std::vector<TableDescription> ChargeWatch::tables(const VehicleSetup& vehicle) {
    std::vector<TableDescription> out;
    for (const auto& table : charge_tables(vehicle.vehicle)) out.push_back(table.about());
    return out;
}

ChargeWatch::ChargeWatch(const PipelineSetup& setup, const Schema& schema, std::size_t vehicle)
    : vehicle_{static_cast<int>(vehicle), setup.vehicles[vehicle].dictionary.vehicle}, schema_(&schema),
      rows_(charge_tables(setup.vehicles[vehicle].vehicle)), sources_(schema.tables.size()),
      readings_(setup, schema, vehicle), done_ns_(rows_.size()) {
    for (const auto& row : rows_) {
        const std::string& name = row.about().name;
        names_.push_back(name.substr(name.find('/') + 1));
        const auto table = std::ranges::find(schema.tables, std::string(vehicle_.name) + "/" + name, &Table::name);
        tables_.push_back(table == schema.tables.end() ? nullptr : &*table);
    }
    for (const Procedure& procedure : setup.vehicles[vehicle].procedures)
        if (std::ranges::any_of(procedure.checks,
                                [](const Check& check) { return check.value.table.starts_with("charge/"); }))
            tests_.push_back(procedure.id);
    for (const Table& table : schema.tables)
        if (table.vehicle == vehicle_.index && (table.kind == TableKind::packet || table.kind == TableKind::batch))
            sources_[table.id] = source_of(table);
}

ChargeWatch::Source ChargeWatch::source_of(const Table& table) const {
    Source source;
    std::size_t igniter = 0;
    for (std::size_t k = 0; k < table.number_count; ++k) {
        const auto role = role_from_name(table.columns[k].role);
        if (role == Role::charge_fired) source.fired = static_cast<int>(k);
        if (role == Role::charge_number) source.number = static_cast<int>(k);
        if (role == Role::charge_current) source.current = static_cast<int>(k);
        if (role != Role::pyro_continuity) continue;
        // By its name, or else by its place.
        const auto named = std::ranges::find_if(
            names_, [&](const std::string& name) { return table.columns[k].name.find(name) != std::string::npos; });
        const auto charge = named == names_.end() ? igniter : static_cast<std::size_t>(named - names_.begin());
        if (charge < names_.size()) source.igniters.push_back({k, charge});
        ++igniter;
    }
    return source;
}

void ChargeWatch::see(const Batch& batch, Marks from) {
    if (rows_.empty()) return;
    readings_.see(batch, from);
    for (std::size_t k = from.rows; k < batch.rows.size(); ++k)
        if (auto& source = sources_[batch.rows[k].table]) see_row(batch, batch.rows[k], *source);
    for (std::size_t k = from.events; k < batch.events.size(); ++k)
        if (batch.events[k].vehicle == vehicle_.index || batch.events[k].vehicle < 0) see_event(batch.events[k]);
}

std::size_t ChargeWatch::charge_number(double number) const {
    return number >= 1 && number <= static_cast<double>(names_.size()) ? static_cast<std::size_t>(number) : 0;
}

void ChargeWatch::see_row(const Batch& batch, const RowRecord& row, Source& source) {
    const auto numbers = batch.numbers_of(row, schema_->tables[row.table]);
    const auto at = [&](int column) { return numbers[static_cast<std::size_t>(column)]; };
    if (source.number >= 0) number_ = charge_number(at(source.number));
    if (source.fired >= 0)
        if (const std::size_t charge = charge_number(at(source.fired)))
            fired({charge - 1, Evidence::vehicle, row.t_ns, kToldSigma_s, row.t_rx_ns});
    if (source.current >= 0 && at(source.current) > kCurrentFlows_a && number_ > 0)
        fired({number_ - 1, Evidence::current, row.t_ns, kCurrentSigma_s, row.t_rx_ns});
    see_igniters(numbers, row, source);
}

void ChargeWatch::see_igniters(std::span<const double> numbers, const RowRecord& row, Source& source) {
    for (Igniter& igniter : source.igniters) {
        const double good = numbers[igniter.column];
        if (good >= 0.5) igniter.t_good_ns = row.t_ns;
        if (!(good < 0.5) || igniter.t_good_ns == 0) continue;
        const std::int64_t between_ns = row.t_ns - igniter.t_good_ns;
        if (!flies_)
            fired({igniter.charge, Evidence::continuity, igniter.t_good_ns + between_ns / 2,
                   seconds_between(0, between_ns) / std::sqrt(12.0), row.t_rx_ns});
        igniter.t_good_ns = 0;
    }
}

bool ChargeWatch::is_test(const Event& begun) const {
    return std::ranges::any_of(
        begun.values,
        [&](const EventValue& value) {
            const auto* id = std::get_if<std::string>(&value.value);
            return value.name == "procedure" && id != nullptr && std::ranges::find(tests_, *id) != tests_.end();
        });
}

void ChargeWatch::see_event(const Event& event) {
    if (!event.id) return;
    switch (*event.id) {
    case EventId::liftoff:
    case EventId::joined_in_flight:
        flies_ = true;
        liftoff_ns_ = event.t_ns;
        break;
    case EventId::touchdown: flies_ = false; break;
    case EventId::false_liftoff: flies_ = false; [[fallthrough]];
    case EventId::ready_again: liftoff_ns_.reset(); break;
    case EventId::procedure_begun:
        if (!flies_ && is_test(event)) liftoff_ns_.reset();
        break;
    case EventId::reboot: readings_.restarted(event.t_ns); break;
    case EventId::shock: shock_ns_ = event.t_ns; break;
    case EventId::pressure_pulse: pulse_ns_ = event.t_ns; break;
    case EventId::marker: {
        const std::string text = in_lower_case(event.text);
        for (std::size_t charge = 0; charge < names_.size() && !flies_; ++charge)
            if (text.find(names_[charge]) != std::string::npos)
                fired({charge, Evidence::marker, event.t_ns, kMarkerSigma_s, event.t_found_ns});
        break;
    }
    default: break;
    }
    if (flies_ || !shock_ns_ || !pulse_ns_ || std::llabs(*shock_ns_ - *pulse_ns_) > kPulseWithShockNs) return;
    const std::int64_t t_ns = std::min(*shock_ns_, *pulse_ns_);
    shock_ns_.reset();
    pulse_ns_.reset();
    const auto rested = std::ranges::find_if(done_ns_, [](const auto& done) { return !done; });
    if (rested == done_ns_.end()) return;
    fired(
        {static_cast<std::size_t>(rested - done_ns_.begin()), Evidence::shock, t_ns, kShockSigma_s, event.t_found_ns});
}

void ChargeWatch::fired(const Firing& firing) {
    const auto near = [&](std::int64_t t_ns, std::int64_t within_ns) {
        return std::llabs(t_ns - firing.t_ns) < within_ns;
    };
    auto same = std::ranges::find_if(open_, [&](const Firing& open) {
        // A shock does not say whose it is.
        const bool nameless = open.evidence == Evidence::shock || firing.evidence == Evidence::shock;
        return open.charge == firing.charge ? near(open.t_ns, kSameFiringNs)
                                            : nameless && near(open.t_ns, kBetterMayComeNs);
    });
    if (same == open_.end()) {
        const auto& done = done_ns_[firing.charge];
        if (!done || !near(*done, kSameFiringNs)) open_.push_back(firing);
        return;
    }
    if (firing.evidence <= same->evidence) return;
    same->charge = firing.charge;
    same->evidence = firing.evidence;
    same->t_ns = firing.t_ns;
    same->sigma_s = firing.sigma_s;
}

void ChargeWatch::tick(std::int64_t t_ns, Batch& out) {
    if (rows_.empty()) return;
    for (Firing& firing : open_)
        if (!firing.told && (firing.evidence >= Evidence::current || t_ns - firing.found_ns > kBetterMayComeNs))
            announce(firing, t_ns, out);
    for (std::size_t k = 0; k < open_.size();) {
        const Firing firing = open_[k];
        if (!firing.told || t_ns < seconds_after(firing.t_ns, analysis::kLookAfter_s + kLater_s)) {
            ++k;
            continue;
        }
        open_.erase(open_.begin() + static_cast<std::ptrdiff_t>(k));
        finish(firing, t_ns, out);
    }
    readings_.forget(t_ns);
}

void ChargeWatch::announce(Firing& firing, std::int64_t t_ns, Batch& out) const {
    firing.told = true;
    const std::string& name = names_[firing.charge];
    out.events.push_back(make_event({.id = EventId::charge_fired,
                                     .t_ns = firing.t_ns,
                                     .t_sigma_s = firing.sigma_s,
                                     .about = name,
                                     .values = {{"charge", name}}},
                                    t_ns, vehicle_));
}

void ChargeWatch::finish(const Firing& firing, std::int64_t t_ns, Batch& out) {
    analysis::ChargeFindings findings = analyse(readings_.around(firing.t_ns, firing.sigma_s, t_ns));
    const std::int64_t fired_ns = seconds_after(firing.t_ns, findings.fired_s);
    findings.in_flight = liftoff_ns_ && fired_ns >= *liftoff_ns_ ? analysis::kYes : analysis::kNo;
    done_ns_[firing.charge] = fired_ns;
    if (const Table* table = tables_[firing.charge])
        out.add_row(*table, fired_ns, t_ns, rows_[firing.charge].row(findings));
    const std::string& name = names_[firing.charge];
    for (const NamedEdge& edge : edges_of(findings))
        out.events.push_back(make_event({.id = EventId::edge_found,
                                         .t_ns = seconds_after(fired_ns, edge.after_s.value),
                                         .t_sigma_s = edge.after_s.sigma,
                                         .about = name + "/" + edge.name,
                                         .values = {{"charge", name},
                                                    {"edge", std::string(edge.name)},
                                                    {"after_s", edge.after_s.value},
                                                    {"sigma_s", edge.after_s.sigma}}},
                                        t_ns, vehicle_));
}

} // namespace turnstone
