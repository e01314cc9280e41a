#pragma once
/// Request targets: path segments and query parameters, RFC 3986. Any input gives a value or a sentence.
#include <cstdint>
#include <initializer_list>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "shared/result.hpp"

namespace turnstone {

struct Target {
    std::string path;                  ///< as sent, without the query
    std::vector<std::string> segments; ///< percent-decoded; "/" has none
    std::map<std::string, std::string, std::less<>> query;
};

/// Origin form only ("/path?query"). Refuses bad percent escapes, control characters and parameters given twice.
[[nodiscard]] Result<Target> parse_target(std::string_view text);

/// Unknown parameters are mistakes, not ignored.
[[nodiscard]] Result<void> allow_parameters(const Target& target, std::initializer_list<std::string_view> names);
/// Absent: an empty optional. Finite, within [min, max].
[[nodiscard]] Result<std::optional<double>> number_parameter(const Target& target, std::string_view name, double min,
                                                             double max);
[[nodiscard]] Result<std::optional<std::int64_t>> integer_parameter(const Target& target, std::string_view name,
                                                                    std::int64_t min, std::int64_t max);
[[nodiscard]] std::optional<std::string> text_parameter(const Target& target, std::string_view name);

} // namespace turnstone
