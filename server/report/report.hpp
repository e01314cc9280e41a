#pragma once
/// The printed report of a recording: of its flights, its ground tests and its poll, whichever it holds.
#include <filesystem>
#include <string>

#include "shared/result.hpp"

namespace turnstone {

/// One self-contained HTML page. Earlier tests are looked for among the recordings of the same folder.
[[nodiscard]] Result<std::string> report_page(const std::filesystem::path& recording);

} // namespace turnstone
