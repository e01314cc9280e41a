#pragma once
/// One flight as a comparison takes it: its series against time since liftoff, its moments, its figures, and what had
/// been predicted of these on the rail.
#include <array>
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

#include "server/debrief/comparison/request.hpp"
#include "server/debrief/flights/key_figures.hpp"
#include "server/debrief/flights/open_flight.hpp"

namespace turnstone::debrief {

/// A column that flights are laid over each other in.
struct ComparedColumn {
    const char* table;
    const char* column;
};
inline constexpr std::array kComparedColumns{
    ComparedColumn{"estimate/vertical", "altitude_m"},        ComparedColumn{"estimate/vertical", "vertical_speed_mps"},
    ComparedColumn{"estimate/vertical", "acceleration_mps2"}, ComparedColumn{"estimate/air", "mach"},
    ComparedColumn{"estimate/air", "dynamic_pressure_pa"},    ComparedColumn{"estimate/navigation", "tilt_deg"},
    ComparedColumn{"estimate/navigation", "rate_x_degps"},    ComparedColumn{"estimate/navigation", "east_m"},
    ComparedColumn{"estimate/navigation", "north_m"}};

struct ComparedSeries {
    std::string title, unit;
    int decimals = 0;
    std::vector<double> t_s; ///< since liftoff; empty: the flight does not have it
    std::vector<double> value, sigma;
    double bridged_s = 0; ///< rows farther apart have a gap between them
};

struct PredictedFigure {
    double value, sigma; ///< sigma NaN: not said
};

struct ComparedFlight {
    std::string id, name;
    std::int64_t utc_liftoff_ns = 0;
    double from_s = 0, to_s = 0;                      ///< of what is shown, since liftoff
    std::array<std::optional<double>, 4> moments_s{}; ///< by Alignment, since liftoff; empty: did not happen
    std::array<ComparedSeries, kComparedColumns.size()> series;
    std::vector<Figure> figures;
    std::vector<std::optional<PredictedFigure>> predicted; ///< by figure
    nlohmann::json vehicle;                                ///< vehicle.json; null: cannot be read
};

[[nodiscard]] ComparedFlight compared_flight(OpenFlight& flight);

} // namespace turnstone::debrief
