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
    // Behind live, but never before the start of the tape or ahead of its head.
    const std::int64_t placed_ns = std::clamp(at_ns.value_or(t_ns), t_start_ns_, t_ns);
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
    const auto& vehicles = setup_->vehicles;
    const auto found =
        std::ranges::find(vehicles, flight.vehicle, [](const VehicleSetup& one) { return one.dictionary.vehicle; });
    if (found == vehicles.end()) return;
    const auto place = static_cast<std::size_t>(found - vehicles.begin());
    std::string name = valid_text(flight.name);
    if (name == flight_names_[place]) return;
    flight_names_[place] = std::move(name);
    out.events.push_back(
        make_event({.id = EventId::flight_named, .t_ns = t_ns, .values = {{"name", flight_names_[place]}}}, t_ns,
                   {static_cast<int>(place), found->dictionary.vehicle}));
}

void OperatorLog::see(const Batch& batch, Marks from) {
    for (std::size_t i = from.events; i < batch.events.size(); ++i) {
        const Event& event = batch.events[i];
        if (event.id == EventId::ready_again && event.vehicle >= 0)
            flight_names_.at(static_cast<std::size_t>(event.vehicle)).clear();
    }
}

std::vector<NameFlight> OperatorLog::carried() const {
    std::vector<NameFlight> out;
    for (std::size_t v = 0; v < flight_names_.size(); ++v)
        if (!flight_names_[v].empty()) out.push_back({setup_->vehicles[v].dictionary.vehicle, flight_names_[v]});
    return out;
}

} // namespace turnstone
