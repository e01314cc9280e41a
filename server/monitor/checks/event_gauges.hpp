#pragma once
/// Gauges of events: how often, how long after another, a figure that one carries, and what a column did about one.
#include <memory>

#include "server/monitor/checks/gauge.hpp"
#include "server/pipeline/checklist/binding.hpp"

namespace turnstone {

[[nodiscard]] std::unique_ptr<Gauge> make_count_gauge(const Check& check, int vehicle);
[[nodiscard]] std::unique_ptr<Gauge> make_event_gauge(const Check& check, int vehicle);
/// Of the measures change, peak, rise, duration, impulse and back.
[[nodiscard]] std::unique_ptr<Gauge> make_pulse_gauge(const Check& check, const BoundColumns& value, int vehicle);

} // namespace turnstone
