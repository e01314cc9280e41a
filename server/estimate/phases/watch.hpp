#pragma once
/// What a watch finds. Each watch looks for one step of a flight and waits for evidence that lasts, then back-dates the
/// step to its start. A step hidden in a gap of reception is dated inside the gap, with the gap's width as uncertainty.
#include <optional>

#include "server/estimate/event.hpp"
#include "server/estimate/phases/evidence.hpp"

namespace turnstone::estimate {

struct Found {
    EventId event;
    TimeEstimate when;
    /// Of thrust whose end was not seen: found with the liftoff before it, or the apogee after it.
    std::optional<TimeEstimate> burnout = {};
};
using MaybeFound = std::optional<Found>;

} // namespace turnstone::estimate
