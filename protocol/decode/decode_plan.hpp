#pragma once
/// Where a row's channels are in a packet and what their bits mean, worked out once from the dictionary. Inner part of
/// the decoder.
#include <cstddef>
#include <cstdint>
#include <vector>

#include "protocol/dictionary/dictionary.hpp"

namespace turnstone {

/// One number channel. Bytes count from the row's base: where the user data begins, or a batch's sample.
struct NumberStep {
    enum class Raw : unsigned char { unsigned_integer, signed_integer, half, single, real };
    std::uint32_t byte;  ///< that holds its first bit
    unsigned char skip;  ///< bits before it in that byte
    unsigned char width; ///< bits, 1 to 64
    bool is_little;
    Raw raw;
    const Calibration* calibration; ///< of the field; never null
    double least;                   ///< infinities where there is no valid range
    double greatest;
};

struct TextStep {
    std::uint32_t byte;
    std::uint32_t size;
};

struct RowPlan {
    std::vector<NumberStep> numbers; ///< by Channel::place
    std::vector<TextStep> texts;     ///< after them
};

/// The dictionary must outlive the plan.
[[nodiscard]] RowPlan make_row_plan(const ChannelTable& table);

/// Rows of one plan at equal distances: a batch's samples, or one row.
struct RowSeries {
    const std::byte* base; ///< of the first
    std::size_t stride;    ///< bytes from one to the next
    std::size_t count;
};

} // namespace turnstone
