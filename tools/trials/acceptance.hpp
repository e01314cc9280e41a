#pragma once
/// What is demanded of the estimates, and how one case's flights meet it. Nothing here is fitted to what they reach.
#include <string>
#include <vector>

#include "tools/trials/case_list.hpp"
#include "tools/trials/cells.hpp"

namespace turnstone::trials {

enum class Demand : unsigned char {
    sigmas, ///< mean of (error / stated 1-sigma)^2 of each quantity in each phase: kSquareLeast to kSquareMost; at rest
            ///< only the latter
    moment_sigmas, ///< the same of each moment's time
    moments,       ///< missed and false: none, on a rough radio at most 2 in a thousand flights
    moment_times,  ///< median error at most one and a half periods of the fastest sensor
    apogees,       ///< truth in the 90 % interval at each checkpoint: 85 to 95 %
    landings,      ///< truth in the 95 % ellipse of the case that happened: 90 to 98 %
    position,      ///< there in 99 % of the time in which fixes have been back for a second
    age,           ///< a prediction is shown at most 0.5 s after the state that it starts from, in every flight
    consistent,    ///< what each health lamp says in 95 % of the rows that it judges, where nothing is worse than usual
    warned         ///< in 90 % of flights with something worse: no harm, or a warning before it (TrialScore::harmed_s)
};
inline constexpr std::size_t kDemands = static_cast<std::size_t>(Demand::warned) + 1;
/// The demand in words, with its limits.
[[nodiscard]] std::string text_of(Demand demand);

/// One figure that a demand is about.
struct Mark {
    Demand demand;
    std::string about;   ///< which quantity, phase, moment, checkpoint or lamp
    double value;        ///< NaN: no answer in any flight
    double low, high;    ///< where it is to lie
    double chance = NAN; ///< 1-sigma of the value, by the scatter from flight to flight; NaN: not known
    [[nodiscard]] bool met() const { return value >= low && value <= high; }
    /// How far outside: the factor of a mean square, a time or an age; points of a percentage or a count. 0 inside.
    [[nodiscard]] double beyond() const;
    [[nodiscard]] std::string text() const; ///< the value, bold when not met
};

/// Of every figure of the case.
[[nodiscard]] std::vector<Mark> marks_of(const ListedCase& listed, const Scores& scores);

} // namespace turnstone::trials
