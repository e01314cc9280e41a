#pragma once
/// `turnstone check`: every mistake in the files people write, before they matter.
#include <filesystem>
#include <ostream>
#include <vector>

namespace turnstone {

/// Checks files (known by name, else by content) and folders (every known file in them, vehicle folders as a
/// whole). Writes one line for each mistake, "file: /json/pointer: wrong; right", and one for each file
/// without any. Returns the number of mistakes.
[[nodiscard]] std::size_t check_files(const std::vector<std::filesystem::path>& paths, std::ostream& out);

} // namespace turnstone
