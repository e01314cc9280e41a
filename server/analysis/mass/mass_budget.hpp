#pragma once
/// What the weighings say together: each part against its budget, the totals, like parts compared.
#include <string>
#include <vector>

#include "server/analysis/mass/assembly.hpp"
#include "server/analysis/mass/mass_record.hpp"
#include "server/analysis/statistics/summary.hpp"

namespace turnstone::analysis {

/// One part as it stands: its newest weighing, with what only older lines say (a target, a place) filled in.
struct BudgetPart {
    Weighing now;
    double margin_kg = kNone;      ///< target minus mass: positive is room left
    std::vector<Weighing> history; ///< all with a mass, the oldest first
};

/// What is put together: everything, or everything that does not burn.
struct BudgetTotal {
    double mass_kg = kNone;                            ///< of what was weighed
    double mass_sigma_kg = kNone;                      ///< each part weighed by itself
    double mass_sigma_scale_kg = kNone;                ///< at most, when all share one scale's error
    double target_kg = kNone;                          ///< of the parts that have one; a part without is not in it
    double margin_kg = kNone;                          ///< when every part has both
    double station_m = kNone, station_sigma_m = kNone; ///< when every part has a place
    double roll_inertia_kg_m2 = kNone;
    double pitch_inertia_kg_m2 = kNone, pitch_inertia_sigma_kg_m2 = kNone;
    std::size_t parts = 0, weighed = 0, placed = 0, with_inertia = 0, with_target = 0;
};

/// Two parts that are alike.
struct BudgetPair {
    std::string like;
    std::string first, second;
    RelativeDifference difference; ///< sigma NaN when a weighing has none
};

struct MassBudget {
    std::vector<BudgetPart> parts; ///< in the order of the file
    BudgetTotal loaded, burnt_out;
    double propellant_kg = kNone, propellant_sigma_kg = kNone; ///< NaN when no part burns or one is not weighed
    std::vector<BudgetPair> pairs;
};

[[nodiscard]] MassBudget mass_budget(const std::vector<Weighing>& weighings);

} // namespace turnstone::analysis
