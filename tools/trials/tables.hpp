#pragma once
/// Scores of many flights as text.
#include <string>
#include <vector>

#include "tools/trials/trial.hpp"

namespace turnstone::trials {

/// One line a quantity, one column a phase of the truth.
void print_errors_by_phase(const std::vector<TrialScore>& scores);
/// Liftoff to touchdown: missed, false, errors.
void print_moments(const std::vector<TrialScore>& scores);
/// Apogee and landing as predicted at each checkpoint; no answer is a miss.
void print_predictions(const std::vector<TrialScore>& scores);
void print_lamps(const std::vector<TrialScore>& scores);

} // namespace turnstone::trials
