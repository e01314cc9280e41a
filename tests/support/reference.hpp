#pragma once
/// Reference values by the name of their file below tests/reference. Each file says where its values come from.
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

namespace turnstone::test {

/// Read once; the reference stays valid.
[[nodiscard]] const nlohmann::json& read_reference(const std::string& file);
/// Members of the file's "cases" whose "kind" is `kind`.
[[nodiscard]] std::vector<nlohmann::json> reference_cases(const std::string& file, const std::string& kind);
/// The member of the file's "cases" whose "id" is `id`.
[[nodiscard]] const nlohmann::json& reference_case(const std::string& file, const std::string& id);

/// Rows of a comma-separated file with one header line; empty cells and words become NaN.
[[nodiscard]] std::vector<std::vector<double>> reference_rows(const std::string& file);

} // namespace turnstone::test
