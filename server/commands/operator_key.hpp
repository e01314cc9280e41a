#pragma once
/// The operator key that a file keeps from one start of the server to the next.
#include <filesystem>
#include <string>

#include "shared/result.hpp"

namespace turnstone {

/// The key in `file`. When there is no such file, it is made with a random key, readable by its owner only.
[[nodiscard]] Result<std::string> kept_operator_key(const std::filesystem::path& file);

} // namespace turnstone
