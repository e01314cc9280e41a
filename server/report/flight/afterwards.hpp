#pragma once
/// What a flight shows once it is over: its course beside the one promised on the rail, the motion as it is known from
/// both sides, and what drag, motor and parachutes turned out to be.
#include <filesystem>

#include "server/report/flight/flight.hpp"
#include "server/report/page/markup.hpp"

namespace turnstone::report {

/// Longer recordings are gone over in the debrief, where it shows how far it is; a page is waited for.
inline constexpr double kGoneOverMost_s = 1800;

/// The chapters; where one cannot be had, a line says why.
[[nodiscard]] Markup afterwards_chapters(const Recorded& recorded, const Flight& flight,
                                         const std::filesystem::path& recording);

} // namespace turnstone::report
