#pragma once
/// Scores of a case's flights in files, ten flights each, so that the table of errors can be flown in slices, beside
/// other work, and printed from whatever is there.
///
/// FOLDER/ERRORS/CASE-SEED.scores: one line of text with what follows, then the scores as they are in memory. They are
/// read by the same program, or by one whose scores have the same shape, and by nothing else.
#include <cstdint>
#include <filesystem>
#include <set>
#include <string>

#include "tools/trials/cells.hpp"

namespace turnstone::trials {

inline constexpr std::uint64_t kSliceFlights = 10;

/// What the running program's file hashes to: flights by two builds of the estimators are not the same.
[[nodiscard]] std::string this_build();

/// True when this build flew those seeds already.
[[nodiscard]] bool has_slice(const std::filesystem::path& folder, const std::string& case_name, std::uint64_t first,
                             std::size_t flights);
/// Throws std::runtime_error when the file cannot be written. A slice is there whole or not at all.
void write_slice(const std::filesystem::path& folder, const std::string& case_name, std::uint64_t first,
                 const Scores& scores);

struct Collected {
    Scores scores; ///< in the order of their seeds
    std::set<std::string> builds;
};
/// All slices of a case. Those whose scores have another shape are left out.
[[nodiscard]] Collected collect(const std::filesystem::path& folder, const std::string& case_name);

} // namespace turnstone::trials
