#include "server/monitor/checks/logbook.hpp"

#include <algorithm>

#include "server/pipeline/events.hpp"

namespace turnstone {

namespace {

template <class Value>
std::optional<Value> value_in(const std::map<std::pair<std::string, std::string>, Value>& from,
                              const std::string& vehicle, const std::string& name) {
    const auto found = from.find({vehicle, name});
    return found == from.end() ? std::nullopt : std::optional(found->second);
}

} // namespace

void Logbook::recall(const PastProcedure& what) {
    PastProcedure& past = past_.try_emplace({what.vehicle, what.procedure}, what).first->second;
    past.runs = std::max(past.runs, what.runs);
    past.failed_ns = std::max(past.failed_ns, what.failed_ns);
    if (!what.passed_ns || past.passed_ns > what.passed_ns) return;
    past.passed_ns = what.passed_ns;
    past.recording = what.recording;
    past.sha256 = what.sha256;
    past.waived = what.waived;
}

void Logbook::begun(const std::string& vehicle, const std::string& procedure, double run) {
    recall({.vehicle = vehicle, .procedure = procedure, .runs = run});
}

void Logbook::passed(const std::string& vehicle, const std::string& procedure, std::int64_t t_ns,
                     std::vector<std::string> waived) {
    recall({.vehicle = vehicle, .procedure = procedure, .runs = 0, .passed_ns = t_ns, .waived = std::move(waived)});
}

void Logbook::failed(const std::string& vehicle, const std::string& procedure, std::int64_t t_ns) {
    recall({.vehicle = vehicle, .procedure = procedure, .runs = 0, .failed_ns = t_ns});
}

void Logbook::see(const Event& event) {
    if (event.kind != EventKind::alert_raised && event.kind != EventKind::alert_cleared) return;
    std::erase_if(alerts_, [&](const RaisedAlert& alert) { return alert.key == event.key; });
    if (event.kind == EventKind::alert_raised)
        alerts_.push_back({.id = event.id.value_or(EventId::note),
                           .level = event.level,
                           .vehicle = event.vehicle,
                           .key = event.key,
                           .text = event.text,
                           .from_predictions = follows_from_predictions(event)});
}

std::optional<SaidValue> Logbook::entered(const std::string& vehicle, const std::string& name) const {
    const auto own = value_in(values_, vehicle, name), of_place = value_in(values_, "", name);
    if (own && of_place) return own->t_ns >= of_place->t_ns ? own : of_place;
    return own ? own : of_place;
}

std::optional<SaidStatement> Logbook::statement(const std::string& vehicle, const std::string& check) const {
    return value_in(statements_, vehicle, check);
}

std::optional<SaidValue> Logbook::station(StationValue what) const {
    const auto found = station_.find(what);
    return found == station_.end() ? std::nullopt : std::optional(found->second);
}

std::optional<PastProcedure> Logbook::past(const std::string& vehicle, const std::string& procedure) const {
    return value_in(past_, vehicle, procedure);
}

void Logbook::carry(std::vector<Action>& out) const {
    for (const auto& [of, past] : past_) out.emplace_back(past);
    for (const auto& [of, said] : values_)
        out.emplace_back(
            Entered{.vehicle = of.first, .name = of.second, .value = said.value, .by = said.by, .t_ns = said.t_ns});
    for (const auto& [of, said] : statements_)
        out.emplace_back(CheckStatement{.vehicle = of.first,
                                        .check = of.second,
                                        .holds = said.holds,
                                        .by = said.by,
                                        .note = said.note,
                                        .t_ns = said.t_ns});
    for (const auto& [what, said] : station_)
        out.emplace_back(StationFigure{.what = what, .value = said.value, .t_ns = said.t_ns});
}

} // namespace turnstone
