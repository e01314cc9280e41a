#pragma once
/// Recordings made again from their own bytes.
#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

#include "shared/result.hpp"

namespace turnstone {

/// Feeds the stored inputs of a recording through the pipeline of this version into a new recording in
/// `output_directory`, and gives its path. Each of `vehicle_folders` replaces the recording's vehicle of the
/// same name; links and site stay.
[[nodiscard]] Result<std::filesystem::path> reprocess(const std::filesystem::path& file,
                                                      const std::vector<std::filesystem::path>& vehicle_folders,
                                                      const std::filesystem::path& output_directory);

struct VerifyReport {
    std::uint64_t chunks = 0, actions = 0;          ///< fed
    std::uint64_t frames = 0, rows = 0, events = 0; ///< compared
    std::uint64_t differences = 0;
    std::string first_difference; ///< empty when there is none
};

/// Feeds the stored inputs through the pipeline and compares every frame, row and event with what is stored,
/// bit for bit (NaN is stored as NULL and -0 as 0: those compare equal). An error means that the comparison
/// could not be made.
[[nodiscard]] Result<VerifyReport> verify_recording(const std::filesystem::path& file);

} // namespace turnstone
