#pragma once
/// Makes any octets valid UTF-8: each maximal ill-formed part becomes one U+FFFD (The Unicode Standard, 3.9, table 3-7
/// and the practice it recommends for replacement).
#include <cstddef>
#include <span>

namespace turnstone {

/// Writes at most 3 * octets.size() characters to `out` and returns how many.
[[nodiscard]] std::size_t to_valid_utf8(std::span<const std::byte> octets, char* out) noexcept;

} // namespace turnstone
