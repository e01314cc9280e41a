#pragma once
/// Recordings that a killed process left behind.
#include <filesystem>
#include <string>
#include <vector>

#include "shared/result.hpp"

namespace turnstone {

enum class RepairOutcome {
    nothing_to_do, ///< was closed
    repaired,      ///< write-ahead file folded in, marked ended = 'repaired'
    in_use         ///< another connection has it open, perhaps a live server: left alone
};

/// Safe to be killed at any point, and to run again. `ended` goes into meta: 'repaired', or 'snapshot' for a
/// copy.
[[nodiscard]] Result<RepairOutcome> repair_recording(const std::filesystem::path& path,
                                                     const std::string& ended = "repaired");

/// Files of `directory` that are recordings by their names, sorted. Never throws for what the directory
/// holds; a directory that cannot be read has none.
[[nodiscard]] std::vector<std::filesystem::path> recording_files(const std::filesystem::path& directory);

/// Recordings of `directory` that are not marked as closed; removes half-made files that never became
/// recordings.
[[nodiscard]] std::vector<std::filesystem::path> unclosed_recordings(const std::filesystem::path& directory);

} // namespace turnstone
