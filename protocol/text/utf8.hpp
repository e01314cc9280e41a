#pragma once
/// Makes any bytes valid UTF-8: each maximal ill-formed part becomes one U+FFFD (The Unicode Standard, 3.9, table 3-7
/// and its recommended practice for replacement).
#include <cstddef>
#include <span>

namespace turnstone {

/// Writes at most 3 * bytes.size() characters to `out` and returns how many.
[[nodiscard]] std::size_t to_valid_utf8(std::span<const std::byte> bytes, char* out) noexcept;

} // namespace turnstone
