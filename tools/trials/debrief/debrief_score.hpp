#pragma once
/// What a debrief works out of simulated flights, beside the truth.
///
/// Nominal flights on the mild radio show drag, motor and parachutes, and are smoothed. Logging flights steer by a
/// schedule and show how the airframe follows. Seeds and error sets: tools/trials/trial.hpp.
#include <array>
#include <cstdint>
#include <vector>

#include "tools/trials/debrief/debrief_demand.hpp"
#include "tools/trials/debrief/debriefed.hpp"

namespace turnstone::trials {

enum class DebriefedFlights : unsigned char { nominal, logging };

/// Of one flight. Of each figure as many answers as are asked of a flight count.
struct DebriefScore {
    std::array<std::array<Judged, 2>, kDebriefFigures> found;
    std::array<SmoothedErrors, kSmoothed.size()> smoothed;
};

/// Seeds `first` on, on all cores: with the errors "tuning" below 1000, "acceptance" from there.
[[nodiscard]] std::vector<DebriefScore> debrief_scores(DebriefedFlights kind, std::uint64_t first, int count);

[[nodiscard]] Coverage coverage_of(DebriefFigure figure, const std::vector<DebriefScore>& scores);
[[nodiscard]] SmoothedErrors smoothed_errors(std::size_t series, const std::vector<DebriefScore>& scores);

} // namespace turnstone::trials
