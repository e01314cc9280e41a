#pragma once
/// Everything Turnstone announces, one line each in events.cpp: key, kind, level and what it says in English. No
/// program takes a sentence apart; whoever needs a fact reads the event's values.
#include <string>
#include <string_view>

#include "server/estimate/event.hpp"

namespace turnstone {

/// Which vehicle an event is about: its place in the setup and its name; -1 and empty for none.
struct EventVehicle {
    int index = -1;
    std::string_view name = {};
};

/// Adds key, kind, level and sentence. Numbers that are not finite are left out of the values.
[[nodiscard]] Event make_event(EstimateEvent happened, std::int64_t t_found_ns, const EventVehicle& vehicle = {});

/// What became of an alert that was raised: `kind` says what. `values`: facts of that.
[[nodiscard]] Event event_of_alert(const Event& raised, EventKind kind, std::int64_t t_ns, EventValues values = {});

/// Whether predictions were flown is what it depends on: it is not made where they are passed over.
[[nodiscard]] bool follows_from_predictions(const Event& event) noexcept;

/// The values as one JSON object, names to numbers, booleans, texts or lists of texts; and back. Anything else is left
/// out. Reading gives back what was written, bit for bit.
[[nodiscard]] std::string to_json(const EventValues& values);
[[nodiscard]] EventValues event_values_from_json(std::string_view text);

} // namespace turnstone
