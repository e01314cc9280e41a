#pragma once
/// What stands for the raw bytes of a recording where people write it down.
#include <filesystem>
#include <string>

#include "shared/result.hpp"

namespace turnstone {

/// SHA-256 (FIPS 180-4), hexadecimal, of the bytes received in a recording: those of its chunks in the order of inputs,
/// without what was carried over from the recording before. Reads the whole file.
[[nodiscard]] Result<std::string> received_sha256(const std::filesystem::path& path);

} // namespace turnstone
