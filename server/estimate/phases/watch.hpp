#pragma once
/// What a watch is shown and what it finds. Each watch looks for one step of a flight and waits for evidence that
/// lasts, then back-dates the step to its start. A step hidden in a gap of reception is dated inside the gap, with the
/// gap's width as uncertainty. All ways to look have one shape, MaybeFound look(const Sight&), and are called as the
/// rules of phase_detector.cpp say.
#include <cstdint>
#include <optional>

#include "server/estimate/phases/evidence.hpp"
#include "server/estimate/phases/phase.hpp"

namespace turnstone::estimate {

struct Sight {
    const FlightEvidence& evidence;
    Phase phase;
    std::int64_t began_ns;                 ///< of the phase
    std::int64_t found_ns;                 ///< when the newest step of the flight was found
    std::optional<std::int64_t> apogee_ns; ///< once it has been found
};

/// When the step happened.
struct Found {
    TimeEstimate when;
    /// Of thrust whose end was not seen: found with the liftoff before it, or the apogee after it.
    std::optional<TimeEstimate> burnout = {};
    /// Where it leads, when the rule leaves that open.
    std::optional<Phase> to = {};
};
using MaybeFound = std::optional<Found>;

} // namespace turnstone::estimate
