#pragma once
/// Bytes as hexadecimal digits, as standards and reference files print them.
#include <cstddef>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace turnstone::test {

/// Blanks and line ends are skipped; anything else that is not a pair of digits throws.
[[nodiscard]] std::vector<std::byte> from_hex(std::string_view digits);
[[nodiscard]] std::string to_hex(std::span<const std::byte> bytes);
/// The same bytes in a string, as HTTP and WebSocket tests compare them.
[[nodiscard]] std::string text_from_hex(std::string_view digits);

} // namespace turnstone::test
