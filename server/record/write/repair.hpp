#pragma once
/// Recordings that a killed process left behind.
#include <filesystem>
#include <string>
#include <string_view>
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

/// Recordings of `directory` that are not marked as closed.
[[nodiscard]] std::vector<std::filesystem::path> unclosed_recordings(const std::filesystem::path& directory);

/// Ends the hidden name of a recording that is being made again; nobody takes what a kill leaves of it for a recording.
inline constexpr std::string_view kUnfinishedEnding = ".unfinished.sqlite";

/// Removes what killed processes left beside recordings: files that never became one, locks that nobody holds, shared
/// memory of a file that is gone. A write-ahead file stays: it may hold data of a recording that was moved.
void remove_leftovers(const std::filesystem::path& directory);

} // namespace turnstone
