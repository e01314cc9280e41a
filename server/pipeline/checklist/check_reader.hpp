#pragma once
/// One check of a file, and what its names may be.
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "server/pipeline/checklist/check.hpp"
#include "shared/json_reader.hpp"

namespace turnstone {

/// Checks of one file.
inline constexpr std::size_t kChecksMax = 64;

/// A lower-case letter, then [a-z0-9_], at most 40 in all.
[[nodiscard]] bool is_short_name(std::string_view text) noexcept;
/// Reads such a name and reports one that is not, or that `taken` has; adds it there.
[[nodiscard]] std::string unique_name(JsonReader& in, std::string_view key, std::set<std::string>& taken);

/// `taken`: ids of the file's checks before it.
[[nodiscard]] Check read_check(JsonReader in, std::set<std::string>& taken);
/// Once all checks of a file are read: looks up the statements that they count from. `readers`: of the same checks.
void find_statements(std::vector<JsonReader>& readers, const std::vector<Check*>& checks);

} // namespace turnstone
