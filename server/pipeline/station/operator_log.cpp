#include "server/pipeline/station/operator_log.hpp"

#include <algorithm>
#include <span>
#include <utility>

#include "protocol/text/utf8.hpp"
#include "server/pipeline/events.hpp"

namespace turnstone {

namespace {

/// Events go into JSON and onto screens, so they are valid UTF-8 whatever was handed in.
std::string valid_text(const std::string& text) {
    std::string out(text.size() * 3, '\0');
    out.resize(to_valid_utf8(std::as_bytes(std::span(text)), out.data()));
    return out;
}

} // namespace

void OperatorLog::take(const Marker& marker, std::int64_t t_ns, Batch& out) {
    place(EventId::marker, marker.text, marker.t_ns, t_ns, out);
}

void OperatorLog::take(const Note& note, std::int64_t t_ns, Batch& out) {
    place(EventId::note, note.text, note.t_ns, t_ns, out);
}

void OperatorLog::place(EventId id, const std::string& text, std::optional<std::int64_t> at_ns, std::int64_t t_ns,
                        Batch& out) {
    const std::int64_t placed_ns = placed(at_ns, t_ns);
    Mark mark{id, placed_ns, valid_text(text)};
    Event event = make_event(
        {.id = id, .t_ns = placed_ns, .about = std::to_string(marks_.size() + 1), .values = {{"text", mark.text}}},
        t_ns);
    marks_.emplace(event.key, std::move(mark));
    out.events.push_back(std::move(event));
}

void OperatorLog::take(const ChangeMark& change, std::int64_t t_ns, Batch& out) {
    const auto found = marks_.find(change.key);
    if (found == marks_.end()) return;
    Mark& mark = found->second;
    EventValues values;
    if (change.text) {
        values.push_back({"before", std::exchange(mark.text, valid_text(*change.text))});
        values.push_back({"text", mark.text});
    } else {
        values = {{"text", mark.text}, {"taken_back", true}};
    }
    Event event = make_event({.id = mark.id, .t_ns = mark.t_ns, .values = std::move(values)}, t_ns);
    event.key = change.key;
    out.events.push_back(std::move(event));
}

void OperatorLog::take(const NameFlight& flight, std::int64_t t_ns, Batch& out) {
    const auto vehicle = vehicle_named(flight.vehicle);
    if (!vehicle) return;
    const std::int64_t at_ns = placed(flight.t_ns, t_ns);
    std::string name = valid_text(flight.name);
    Flight& present = flights_[*vehicle];
    if (at_ns >= present.from_ns) {
        if (name == present.name) return;
        present.name = name;
    }
    tell(EventId::flight_named, *vehicle, at_ns, t_ns, {{"name", std::move(name)}}, out);
}

void OperatorLog::take(const DescribeFlight& flight, std::int64_t t_ns, Batch& out) {
    const auto vehicle = vehicle_named(flight.vehicle);
    if (!vehicle) return;
    const std::int64_t at_ns = placed(flight.t_ns, t_ns);
    DescribeFlight& present = flights_[*vehicle].described;
    const bool is_present = at_ns >= flights_[*vehicle].from_ns;
    EventValues values;
    if (flight.notes) values.push_back({"notes", valid_text(*flight.notes)});
    if (flight.tags) {
        std::vector<std::string> tags;
        for (const std::string& tag : *flight.tags) tags.push_back(valid_text(tag));
        values.push_back({"tags", std::move(tags)});
    }
    if (flight.configuration) values.push_back({"configuration", valid_text(*flight.configuration)});
    if (is_present && flight.notes) present.notes = flight.notes;
    if (is_present && flight.tags) present.tags = flight.tags;
    if (is_present && flight.configuration) present.configuration = flight.configuration;
    if (!values.empty()) tell(EventId::flight_described, *vehicle, at_ns, t_ns, std::move(values), out);
}

std::optional<std::size_t> OperatorLog::vehicle_named(const std::string& name) const {
    const auto& vehicles = setup_->vehicles;
    const auto found =
        std::ranges::find(vehicles, name, [](const VehicleSetup& one) { return one.dictionary.vehicle; });
    if (found == vehicles.end()) return std::nullopt;
    return static_cast<std::size_t>(found - vehicles.begin());
}

std::int64_t OperatorLog::placed(std::optional<std::int64_t> at_ns, std::int64_t t_ns) const {
    return std::clamp(at_ns.value_or(t_ns), t_start_ns_, t_ns);
}

void OperatorLog::tell(EventId id, std::size_t vehicle, std::int64_t at_ns, std::int64_t t_ns, EventValues values,
                       Batch& out) const {
    out.events.push_back(make_event({.id = id, .t_ns = at_ns, .values = std::move(values)}, t_ns,
                                    {static_cast<int>(vehicle), setup_->vehicles[vehicle].dictionary.vehicle}));
}

void OperatorLog::see(const Batch& batch, Marks from) {
    for (std::size_t i = from.events; i < batch.events.size(); ++i) {
        const Event& event = batch.events[i];
        if (event.id == EventId::ready_again && event.vehicle >= 0)
            flights_.at(static_cast<std::size_t>(event.vehicle)) = {.from_ns = event.t_ns};
    }
}

void OperatorLog::carry(std::vector<Action>& actions) const {
    for (std::size_t v = 0; v < flights_.size(); ++v) {
        const std::string& vehicle = setup_->vehicles[v].dictionary.vehicle;
        if (!flights_[v].name.empty()) actions.emplace_back(NameFlight{vehicle, flights_[v].name});
        DescribeFlight described = flights_[v].described;
        described.vehicle = vehicle;
        if (described != DescribeFlight{.vehicle = vehicle}) actions.emplace_back(std::move(described));
    }
}

} // namespace turnstone
