#include "server/monitor/flight_view.hpp"

#include <string>
#include <variant>

namespace turnstone {

FlightViewer::FlightViewer(const Schema&, int vehicle) : vehicle_(vehicle) {}

void FlightViewer::see(const Batch& batch, Marks from) {
    for (std::size_t k = from.events; k < batch.events.size(); ++k) {
        const Event& event = batch.events[k];
        if (event.vehicle != vehicle_ || event.id != EventId::phase_began) continue;
        for (const EventValue& value : event.values)
            if (const auto* word = std::get_if<std::string>(&value.value); word != nullptr && value.name == "phase")
                view_.phase = from_word<estimate::Phase>(*word).value_or(view_.phase);
    }
}

const FlightView& FlightViewer::at(std::int64_t t_ns) {
    view_.t_ns = t_ns;
    return view_;
}

} // namespace turnstone
