#pragma once
/// JSON texts of clients: one flat object each, whether on the stream or in the body of a request.
#include <cstddef>
#include <initializer_list>
#include <optional>
#include <string>
#include <string_view>

#include <nlohmann/json_fwd.hpp>

#include "shared/result.hpp"

namespace turnstone {

/// The most seconds of a tape a client may ask for, some thirty years: no tape is longer, and nanoseconds stay within
/// 64 bits.
inline constexpr double kTapeSecondsMax = 1e9;

/// Empty: not a JSON object, or nested deeper than `depth_max`.
[[nodiscard]] std::optional<nlohmann::json> parse_object(std::string_view text, int depth_max);
/// Empty: not a JSON object, or nested deeper than any message is.
[[nodiscard]] std::optional<nlohmann::json> parse_flat_object(std::string_view text);

/// A number within [min, max]; empty: absent, not a number or outside.
[[nodiscard]] std::optional<double> number_member(const nlohmann::json& object, const char* name, double min,
                                                  double max);

// Bodies of requests. Each fails with a sentence.

inline constexpr std::size_t kNameBytesMax = 200;
inline constexpr std::size_t kNoteBytesMax = 2000;
inline constexpr std::size_t kTextBytesMax = 16u << 10;
/// Flat, with no members but these.
[[nodiscard]] Result<nlohmann::json> object_with(std::string_view body, std::initializer_list<std::string_view> names);
/// Empty: absent.
[[nodiscard]] Result<std::optional<std::string>> text_member(const nlohmann::json& object, const char* name,
                                                             std::size_t bytes_max);
[[nodiscard]] Result<std::string> needed_text(const nlohmann::json& object, const char* name, std::size_t bytes_max);

} // namespace turnstone
