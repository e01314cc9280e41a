#pragma once
/// The tables of checks: "<vehicle>/procedure/<id>" and "<vehicle>/readiness", three columns a check, and what a person
/// reads of a check's limits.
#include <string>
#include <vector>

#include "server/pipeline/checklist/binding.hpp"

namespace turnstone {

/// Measured value, margin and state of one check, by place in the row of its table.
inline constexpr std::size_t kColumnsOfCheck = 3;

/// Of a readiness table, behind the columns of its checks: 1 while the board is ready.
inline constexpr std::string_view kReadyColumn = "ready";

/// The tables of every vehicle, to be added behind all others of `schema`, which has those. In the order: procedures
/// of a vehicle, its readiness, the next vehicle.
[[nodiscard]] std::vector<Table> check_tables(const PipelineSetup& setup, const Schema& schema);

/// "≤ 30 ms", "7.2 to 8.6 V", "confirmed". `unit`, `decimals`: of what is measured; `words`: its enumeration.
[[nodiscard]] std::string required_text(const Check& check, const std::string& unit, int decimals,
                                        const Enumeration& words);
/// Whether its limits are figures for a person: those of a statement, or of what a text says, are yes and no in
/// numbers.
[[nodiscard]] bool is_of_figures(const Check& check);
/// Whether its figure is a difference, so that its unit has no zero of its own.
[[nodiscard]] bool is_difference(const Check& check);
/// The margin that counts as all the room there is; empty: nothing says.
[[nodiscard]] std::optional<double> room_of(const Check& check);

} // namespace turnstone
