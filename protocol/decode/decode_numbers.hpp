#pragma once
/// Bits to numbers, one channel after another, on any processor. Tests compare decode_numbers_vector.hpp with it. Inner
/// part of the decoder.
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

#include "protocol/decode/decode_plan.hpp"

namespace turnstone {

/// The value before calibration. Integers beyond the limits of what is returned are given as the limit.
[[nodiscard]] double raw_number(const NumberStep& step, const std::byte* base) noexcept;
[[nodiscard]] std::optional<std::int64_t> raw_integer(const NumberStep& step, const std::byte* base) noexcept;
[[nodiscard]] double calibrated(const Calibration& calibration, double raw) noexcept;

/// One channel's engineering value; infinite or not a number when the raw value or the calibration gives that.
[[nodiscard]] double decode_number(const NumberStep& step, const std::byte* base) noexcept;

/// Bit k: values[k] is outside its range (k < 64). NaN is outside no range.
[[nodiscard]] std::uint64_t out_of_range(std::span<const NumberStep> row, const double* values) noexcept;

/// Writes the rows' numbers to `values`, one row after another, with NaN for what is not finite, and each row's
/// DecodedRow::out_of_range to `marks`.
void decode_numbers(std::span<const NumberStep> row, const RowSeries& series, double* values,
                    std::uint64_t* marks) noexcept;

} // namespace turnstone
