#pragma once
/// Copies of one frame, each damaged in places of its own, bit by bit.
#include <cstddef>
#include <span>
#include <vector>

namespace turnstone {

/// Bits in which two runs of the same size differ.
[[nodiscard]] std::size_t bit_distance(std::span<const std::byte> a, std::span<const std::byte> b) noexcept;

/// Each bit as most of the copies have it. `copies`: an odd number, at least three, all of the size of `out`.
void vote(std::span<const std::span<const std::byte>> copies, std::span<std::byte> out) noexcept;

// The same of symbols, a byte each: 0 surely zero to 255 surely one.

/// Symbols that are taken for another in one run than in the other.
[[nodiscard]] std::size_t symbol_distance(std::span<const std::byte> a, std::span<const std::byte> b) noexcept;

/// The mean of the copies. For receivers with the same noise, which is independent, that is what one of them would have
/// received with as many times the power.
void mean(std::span<const std::span<const std::byte>> copies, std::span<std::byte> out) noexcept;

} // namespace turnstone
