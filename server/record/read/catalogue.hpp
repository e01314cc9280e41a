#pragma once
/// The recordings directory. Scanning it makes the catalogue; there is no other record of the files.
#include <filesystem>
#include <string>
#include <vector>

#include "server/record/read/reader.hpp"

namespace turnstone {

/// What a file says of itself. One that does not open has `damage` saying why.
[[nodiscard]] RecordingInfo recording_info(const std::filesystem::path& path);

/// Every recording in `directory`, newest first.
[[nodiscard]] std::vector<RecordingInfo> scan_recordings(const std::filesystem::path& directory);

/// Path of a recording by id; fails when the id is not a plain file name of the directory (no separators, no
/// "..").
[[nodiscard]] Result<std::filesystem::path> recording_path(const std::filesystem::path& directory,
                                                           const std::string& id);

/// Sets name, notes or archived ("1", else empty) of a closed recording.
[[nodiscard]] Result<void> set_recording_meta(const std::filesystem::path& path, const std::string& key,
                                              const std::string& value);

} // namespace turnstone
