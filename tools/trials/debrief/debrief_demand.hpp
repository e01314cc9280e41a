#pragma once
/// What is demanded of what a debrief works out of many flights: its 95 % intervals hold the truth as often as they say
/// and are only as wide as they have to be; what is smoothed is nearer to the truth than the filter, and as near as
/// stated.
#include <array>
#include <limits>
#include <string>
#include <vector>

#include "tools/trials/trial.hpp"

namespace turnstone::trials {

/// A value with its 95 % interval beside the truth; NaN: the flight did not show it.
struct Judged {
    double value = NAN, low = NAN, high = NAN, truth = NAN;
};

enum class DebriefFigure : unsigned char {
    roll_damping, ///< down to static_margin: of logging flights
    roll_effect,
    natural_frequency,
    damping,
    fin_effect,
    static_margin,
    drag_slow, ///< from here on: of nominal flights
    drag_fast,
    impulse,
    drogue_area,
    main_area,
    drogue_delay,
    main_delay
};
inline constexpr std::size_t kDebriefFigures = static_cast<std::size_t>(DebriefFigure::main_delay) + 1;

struct IntervalDemand {
    const char* title;
    const char* unit; ///< of errors and widths; "%": of the truth
    int answers;      ///< asked of a flight: pitch and yaw are two
    double said_least;
    double held_most;
    double error_most; ///< root mean square
    double width_most; ///< mean half width: an interval that says nothing is wider
};
inline constexpr double kHeldLeast = 90; ///< %
[[nodiscard]] const IntervalDemand& demand_of(DebriefFigure figure);
[[nodiscard]] bool is_of_logging_flights(DebriefFigure figure);

/// A figure and where it is to lie.
struct Bounded {
    double value = NAN, least = -std::numeric_limits<double>::infinity(),
           most = std::numeric_limits<double>::infinity();
    [[nodiscard]] bool met() const { return value >= least && value <= most; }
    /// In bold when not met.
    [[nodiscard]] std::string text(const char* format) const;
};

/// The answers of many flights about one figure.
struct Coverage {
    int asked = 0, said = 0, held = 0;
    Bounded said_percent, held_percent, error, width;
};
[[nodiscard]] Coverage coverage_of(DebriefFigure figure, const std::vector<Judged>& answers);

inline constexpr std::array kSmoothed{"altitude_m",     "vertical_speed_mps", "acceleration_mps2",  "east_m",
                                      "north_m",        "velocity_east_mps",  "velocity_north_mps", "tilt, rail",
                                      "tilt, boost",    "tilt, coast",        "tilt, drogue",       "tilt, main",
                                      "attitude, rail", "attitude, boost",    "attitude, coast",    "attitude, drogue",
                                      "attitude, main"};
/// The places of the first of the nose's angle from vertical and of the whole attitude, on the rail.
inline constexpr std::size_t kTiltSmoothed = 7, kAttitudeSmoothed = 12;
/// Of one smoothed series, beside the filter's. An attitude's error is the angle to the truth; its (error / sigma)^2 is
/// a third of that of its three components by their covariance.
struct SmoothedErrors {
    Errors filter, both;
    int worse = 0; ///< steps stated worse than the filter's
    void add(const SmoothedErrors& other);
};
struct SmoothedFigures {
    Bounded worse;  ///< none, but of an attitude
    Bounded rms;    ///< beside the filter's: at most 1; of the whole attitude, as near to it as few flights show
    Bounded square; ///< mean of (error / sigma)^2
};
[[nodiscard]] SmoothedFigures smoothed_figures(std::string_view key, const SmoothedErrors& errors, int flights);

} // namespace turnstone::trials
