#pragma once
#include <array>
#include <filesystem>
#include <system_error>

namespace turnstone {

/// A database file, and what SQLite may have left beside it: it would take that for a later file's of the same name.
inline constexpr std::array kDatabaseEndings{"", "-wal", "-shm", "-journal"};

/// Removes all of them. What cannot be removed stays.
inline void remove_database(const std::filesystem::path& path) noexcept {
    std::error_code ignored;
    for (const char* ending : kDatabaseEndings) std::filesystem::remove(path.string() + ending, ignored);
}

} // namespace turnstone
