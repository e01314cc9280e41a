#pragma once
#include <cstdint>
#include <filesystem>
#include <string>

namespace turnstone {

/// "2026-05-17T143205Z-sanderling": UTC start and vehicle; made unique in `directory` with a suffix.
[[nodiscard]] std::string make_recording_id(const std::filesystem::path& directory, std::int64_t utc_start_ns,
                                            const std::string& vehicle);

} // namespace turnstone
