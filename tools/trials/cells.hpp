#pragma once
/// Scores of many flights as the text of one cell of a table, and the tables themselves (Markdown). "–": nothing to
/// say.
#include <functional>
#include <span>
#include <string>
#include <vector>

#include "tools/trials/trial.hpp"

namespace turnstone::trials {

using Scores = std::vector<TrialScore>;
using Cell = std::function<std::string(const Scores&)>;

inline constexpr std::array kAscent{sim::TruePhase::under_thrust, sim::TruePhase::coasting};
inline constexpr std::array kDescent{sim::TruePhase::falling, sim::TruePhase::under_drogue, sim::TruePhase::under_main};

/// What a mean of (error / sigma)^2 may be; beyond, cells print it in bold.
inline constexpr double kSquareLeast = 0.5, kSquareMost = 2.0;
/// "rms (mean of (error / sigma)^2) per cent of the phase with an estimate".
[[nodiscard]] std::string errors_cell(const Scores& scores, Quantity quantity, std::span<const sim::TruePhase> phases);
/// "median / worst" of what `value` gives; NaN is left out.
[[nodiscard]] Cell spread(const std::function<double(const TrialScore&)>& value, const char* format);
[[nodiscard]] Cell median(const std::function<double(const TrialScore&)>& value, const char* format = "%.2f");
/// Per cent of the flights that `counts` counts for which `hit` holds.
[[nodiscard]] Cell fraction(const std::function<bool(const TrialScore&)>& counts,
                            const std::function<bool(const TrialScore&)>& hit);
[[nodiscard]] Cell sum(const std::function<int(const TrialScore&)>& value);
/// Mean of (error / sigma)^2 of a moment's time.
[[nodiscard]] Cell moment_square(std::size_t moment);
/// Flights that missed it, and finds that were none, of one moment or of all.
[[nodiscard]] int missed(const TrialScore& score, std::size_t moment);
[[nodiscard]] int wrong(const TrialScore& score, std::size_t moment);
/// Flights with an answer in which the truth was inside, of all flights: no answer is a miss.
[[nodiscard]] Cell apogee_inside(Checkpoint checkpoint);
[[nodiscard]] Cell landing_inside(Checkpoint checkpoint);
/// Per cent of flights without an error that harms, and of the others those that warned before it.
[[nodiscard]] std::string warning_cell(const Scores& scores);
/// Per cent of judged rows "consistent", and of those that say the sigmas are too small.
[[nodiscard]] std::string lamp_cell(const Scores& scores, Lamp lamp);
[[nodiscard]] std::string text(const char* format, double value);

/// A Markdown table whose rows are added one by one.
class Sheet {
  public:
    Sheet(std::string corner, std::vector<std::string> columns);
    void row(const std::string& name, const std::vector<std::string>& cells);
    /// One cell for each column's flights.
    void row(const std::string& name, const std::vector<Scores>& columns, const Cell& cell);
    void print() const;

  private:
    std::vector<std::vector<std::string>> lines_;
};

/// One line a moment (liftoff to touchdown): of one case's flights.
void print_moments(const Scores& scores);
/// One line a checkpoint: of one case's flights.
void print_predictions(const Scores& scores);
/// The phases that any of these flights went through.
[[nodiscard]] std::vector<sim::TruePhase> phases_of(const std::vector<Scores>& all);
/// One line a quantity, one column a phase of the truth.
void print_errors_by_phase(const Scores& scores);

} // namespace turnstone::trials
