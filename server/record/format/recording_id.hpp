#pragma once
#include <cstdint>
#include <filesystem>
#include <string>

namespace turnstone {

/// "2026-05-17T143205Z-sanderling": UTC and vehicle.
[[nodiscard]] std::string recording_id(std::int64_t utc_ns, const std::string& vehicle);
/// The same, with a number behind it when the directory has one of that name.
[[nodiscard]] std::string free_recording_id(const std::filesystem::path& directory, std::int64_t utc_ns,
                                            const std::string& vehicle);

} // namespace turnstone
