#include "server/monitor/checks/check_set.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "server/pipeline/checklist/check_tables.hpp"
#include "server/pipeline/events.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

/// Reasons may come and go with every tick: a person is told of one that has stood for this long.
constexpr double kReasonStands_s = 5;

} // namespace

CheckedVehicle checked_vehicle(const PipelineSetup& setup, std::size_t vehicle) {
    CheckedVehicle out{.index = static_cast<int>(vehicle), .name = setup.vehicles[vehicle].dictionary.vehicle};
    for (const LinkSetup& link : setup.links)
        if (link.vehicle == vehicle) out.links.push_back(link.name);
    return out;
}

std::string reason_of(const WatchedCheck& check) {
    std::string state(word(check.finding().state));
    std::ranges::replace(state, '_', ' ');
    return check.check().title + ": " + state;
}

CheckSet::CheckSet(const PipelineSetup& setup, const Schema& schema, std::size_t vehicle,
                   const std::vector<const Check*>& checks, std::string procedure, const Logbook& book)
    : vehicle_(checked_vehicle(setup, vehicle)), procedure_(std::move(procedure)), schema_(&schema),
      checks_of_table_(schema.tables.size()), said_(checks.size()) {
    const std::string name =
        vehicle_.name + (procedure_.empty() ? std::string("/readiness") : "/procedure/" + procedure_);
    const auto table = std::ranges::find(schema.tables, name, &Table::name);
    if (table != schema.tables.end()) table_ = &*table;
    for (const Check* check : checks) {
        checks_.emplace_back(*check, bind_check(*check, setup, schema, vehicle), vehicle_, book, !procedure_.empty());
        from_predictions_ = from_predictions_ || (procedure_.empty() && checks_.back().binding().from_predictions);
        for (const TableId id : checks_.back().tables()) checks_of_table_[id].push_back(checks_.size() - 1);
    }
}

void CheckSet::recall(std::string_view id, CheckState state, std::string why) {
    for (std::size_t k = 0; k < checks_.size(); ++k) {
        if (checks_[k].check().id != id) continue;
        checks_[k].recall(state);
        said_[k] = {.state = state, .why = std::move(why)};
    }
}

void CheckSet::carry_baselines(std::vector<Action>& out) const {
    for (const WatchedCheck& each : checks_)
        if (auto from = each.baseline(); from && !each.is_closed())
            out.emplace_back(CarriedBaseline{.vehicle = vehicle_.name,
                                             .procedure = procedure_,
                                             .check = each.check().id,
                                             .values = std::move(from->values),
                                             .t_ns = from->t_ns});
}

void CheckSet::take(const CarriedBaseline& baseline) {
    for (WatchedCheck& each : checks_)
        if (each.check().id == baseline.check) each.measure_from({baseline.t_ns, baseline.values});
}

void CheckSet::begin(std::int64_t t_ns) {
    for (WatchedCheck& each : checks_) each.begin(t_ns);
    std::ranges::fill(said_, Said{});
}

void CheckSet::see(const Batch& batch, Marks from) {
    for (std::size_t k = from.rows; k < batch.rows.size(); ++k) {
        const RowRecord& record = batch.rows[k];
        if (checks_of_table_[record.table].empty()) continue;
        const Table& table = schema_->tables[record.table];
        const Gauge::Row row{.table = record.table,
                             .t_ns = record.t_ns,
                             .t_rx_ns = record.t_rx_ns,
                             .numbers = batch.numbers_of(record, table),
                             .texts = batch.texts_of(record, table)};
        for (const std::size_t check : checks_of_table_[record.table]) checks_[check].row(row);
    }
    for (std::size_t k = from.events; k < batch.events.size(); ++k)
        for (WatchedCheck& each : checks_) each.event(batch.events[k]);
}

void CheckSet::judge(std::int64_t t_ns, Batch& out) {
    for (WatchedCheck& each : checks_) each.judge(t_ns);
    say(t_ns, out);
}

void CheckSet::say(std::int64_t t_ns, Batch& out) {
    for (std::size_t k = 0; k < checks_.size(); ++k)
        if (is_news(k, t_ns)) say(k, t_ns, out);
}

bool CheckSet::is_news(std::size_t check, std::int64_t t_ns) {
    const CheckFinding& found = checks_[check].finding();
    Said& said = said_[check];
    if (found.state != said.state) return true;
    if (!said.why) said.why = found.why; // what it waits for from the beginning
    if (found.why == *said.why) {
        said.newer_why = found.why;
        return false;
    }
    if (found.why != said.newer_why) {
        said.newer_why = found.why;
        said.newer_since_ns = t_ns;
    }
    return checks_[check].is_closed() || seconds_between(said.newer_since_ns, t_ns) >= kReasonStands_s;
}

void CheckSet::say(std::size_t check, std::int64_t t_ns, Batch& out) {
    const WatchedCheck& watched = checks_[check];
    const CheckFinding& found = watched.finding();
    const CheckBinding& binding = watched.binding();
    const bool predicted = procedure_.empty() && binding.from_predictions;
    changed_ = changed_ || (found.state != said_[check].state && !predicted);
    said_[check] = {.state = found.state, .why = found.why, .newer_why = found.why};
    EventValues values;
    if (!procedure_.empty()) values.push_back({"procedure", procedure_});
    values.push_back({"check", watched.check().id});
    values.push_back({"title", watched.check().title});
    values.push_back({"state", std::string(word(found.state))});
    for (const auto& [name, value] :
         {std::pair("measured", found.measured), std::pair("limit", found.limit), std::pair("margin", found.margin)})
        if (std::isfinite(value)) values.push_back({name, value});
    values.push_back({"required", required_text(watched.check(), binding.unit, binding.decimals, binding.words)});
    values.push_back({"unit", binding.unit});
    values.push_back({"decimals", static_cast<double>(binding.decimals)});
    values.push_back({"why", found.why});
    if (predicted) values.push_back({"predicted", true});
    out.events.push_back(
        make_event({.id = EventId::check_decided,
                    .t_ns = t_ns,
                    .about = (procedure_.empty() ? "readiness" : procedure_) + "/" + watched.check().id,
                    .values = std::move(values)},
                   t_ns, {vehicle_.index, vehicle_.name}));
}

void CheckSet::write(std::int64_t t_ns, std::span<const double> more, Batch& out) {
    if (changed_ || t_ns % kNsPerS == 0) write_now(t_ns, more, out);
}

void CheckSet::write_now(std::int64_t t_ns, std::span<const double> more, Batch& out) {
    changed_ = false;
    if (table_ == nullptr) return;
    row_.clear();
    for (const WatchedCheck& each : checks_) {
        const CheckFinding& found = each.finding();
        row_.push_back(std::isfinite(found.measured) ? found.measured : kNaN);
        row_.push_back(std::isfinite(found.margin) ? found.margin : kNaN);
        row_.push_back(static_cast<double>(found.state));
    }
    row_.insert(row_.end(), more.begin(), more.end());
    out.add_row(*table_, t_ns, t_ns, row_);
}

} // namespace turnstone
