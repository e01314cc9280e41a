#pragma once
/// What a watch finds. Each watch looks for one step of a flight, on evidence that lasts: later than it happened, and
/// then back-dated to when it began. What is not seen in a gap of reception is dated inside the gap, with the gap's
/// width as uncertainty.
#include <optional>

#include "server/estimate/event.hpp"
#include "server/estimate/phases/evidence.hpp"

namespace turnstone::estimate {

struct Found {
    EventId event;
    TimeEstimate when;
    /// Of thrust that nobody saw end: found with the liftoff after which it came, or the apogee before which it was.
    std::optional<TimeEstimate> burnout = {};
};
using MaybeFound = std::optional<Found>;

} // namespace turnstone::estimate
