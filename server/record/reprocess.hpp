#pragma once
/// Recordings made again from their own bytes.
#include <filesystem>
#include <vector>

#include "server/pipeline/station/pipeline.hpp"
#include "shared/result.hpp"

namespace turnstone {

/// Feeds the stored inputs of a recording through this version's pipeline into a new recording in `output_directory`,
/// and returns its path. Each of `vehicles` replaces the recording's vehicle of the same name; links and site stay.
/// A recording that is damaged or cut short gives every input that can still be read; the error then says so, and where
/// the new one is. The new file has its name once it is whole: a process that is killed leaves none.
[[nodiscard]] Result<std::filesystem::path> reprocess(const std::filesystem::path& file,
                                                      std::vector<VehicleSetup> vehicles,
                                                      const std::filesystem::path& output_directory);

/// Makes everything but the inputs of a closed recording again, under the same name. The file is replaced whole or not
/// at all.
[[nodiscard]] Result<void> make_again(const std::filesystem::path& file);

} // namespace turnstone
