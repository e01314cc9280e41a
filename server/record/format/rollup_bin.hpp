#pragma once
/// One bin of a rollup and how it lies in the file: schema.sql documents the octets.
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "server/record/format/layout.hpp"

namespace turnstone {

/// Where count[c] is 0, column c's other figures mean nothing.
struct RollupBin {
    std::uint32_t rows = 0;
    std::vector<std::uint32_t> count;
    std::vector<double> min, max, sum;

    RollupBin() = default;
    explicit RollupBin(std::size_t columns);
    void clear() noexcept;
    void add(std::span<const double> numbers) noexcept; ///< NaN is a missing value
    void merge(const RollupBin& other) noexcept;
};

/// Overwrites `out`. Values are as their cells give them back.
void encode_bin(const RollupBin& bin, std::span<const ColumnCode> codes, std::vector<std::byte>& out);
/// False when `data` is not a bin of these columns; `bin` then holds anything. `rows` as stored beside it.
[[nodiscard]] bool decode_bin(std::span<const std::byte> data, std::int64_t rows, std::span<const ColumnCode> codes,
                              RollupBin& bin);
/// The same for layout 1: counts, minima, maxima and sums one after another, as they lie in memory.
[[nodiscard]] bool decode_bin_1(std::span<const std::byte> data, std::int64_t rows, std::size_t columns,
                                RollupBin& bin);

} // namespace turnstone
