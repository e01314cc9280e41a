#pragma once
/// Deleting a recording: its file is moved aside, from where it comes back within a day, and is gone after that.
#include <chrono>
#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

#include "shared/result.hpp"

namespace turnstone {

inline constexpr std::chrono::hours kKeptAside{24};

struct AsideRecording {
    std::string id;
    std::int64_t until_utc_ns; ///< then it is gone
};

/// Fails for a recording that is being written.
[[nodiscard]] Result<void> set_aside(const std::filesystem::path& recording);
/// Fails when it is not there any more, or when another recording has that id.
[[nodiscard]] Result<void> bring_back(const std::filesystem::path& directory, const std::string& id);
/// Those that can come back; removes what is older.
[[nodiscard]] std::vector<AsideRecording> recordings_aside(const std::filesystem::path& directory,
                                                           std::chrono::system_clock::time_point now);

} // namespace turnstone
