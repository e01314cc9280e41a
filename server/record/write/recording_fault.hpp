#pragma once
/// What an SQLite failure means to the recorder.
#include <filesystem>
#include <string>

#include "server/record/format/sqlite.hpp"
#include "server/record/write/recorder_status.hpp"

namespace turnstone {

/// What is wrong and what to do, for the person at the range.
[[nodiscard]] std::string advice(const SqliteError& error, const std::filesystem::path& directory);
/// The fault is in what was to be written, not in the disk: trying again cannot help.
[[nodiscard]] bool is_about_content(const SqliteError& error);
/// Nothing more can go into the file.
[[nodiscard]] bool is_about_file(const SqliteError& error);

/// Fills in `trouble`, and `fault` unless it says already why nothing can be written.
void find_trouble(RecorderStatus& status);

} // namespace turnstone
