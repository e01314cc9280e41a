#pragma once
/// Bytes of a packet as text. Inner part of the decoder.
#include <cstddef>
#include <optional>
#include <span>

#include "protocol/dictionary/dictionary.hpp"

namespace turnstone {

/// Where the field's terminator begins; empty: it is not there, or the field has none.
[[nodiscard]] std::optional<std::size_t> find_terminator(const Field& field, std::span<const std::byte> bytes) noexcept;

/// A text in valid UTF-8 up to its terminator, U+FFFD for what is not of its encoding; bytes in hexadecimal. Writes at
/// most 3 * bytes.size() characters to `out` and returns how many.
[[nodiscard]] std::size_t write_text(const Field& field, std::span<const std::byte> bytes, char* out) noexcept;

} // namespace turnstone
