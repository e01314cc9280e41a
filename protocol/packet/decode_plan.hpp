#pragma once
/// How one row's channels are taken out of a packet, compiled once from the dictionary. Inner part of the decoder.
///
/// Number channels go four at a time, which is what keeps decoding at the pace of the checksum: their raw values are
/// loaded, then scaled and checked in two-lane vectors. What is not an integer of an ordinary kind is put in place one
/// by one before.
#include <array>
#include <cstddef>
#include <cstdint>
#include <string_view>
#include <vector>

#include "protocol/dictionary/dictionary.hpp"

namespace turnstone {

inline constexpr std::size_t kQuadLanes = 4;

/// An integer that one load of eight octets holds: ((load >> right) & mask), sign extended.
struct IntegerStep {
    std::int32_t octet; ///< of the load, from the row's base; near the packet's end it begins before the field
    std::uint32_t right;
    std::uint64_t mask;
    std::uint64_t sign; ///< the sign bit; 0: unsigned
};

/// Any other number: floating point, little-endian, 64 bits unsigned, and fields that span nine octets.
struct OtherStep {
    enum class Convert : unsigned char { unsigned_integer, signed_integer, half, single, real };
    std::uint32_t octet; ///< of its first bit, from the row's base
    unsigned char skip;  ///< bits before it in that octet
    unsigned char width;
    bool little;
    Convert convert;
    std::uint32_t channel;
};

/// A calibration that is no straight line.
struct CurveStep {
    std::uint32_t channel;
    const Calibration* calibration;
};

struct QuadStep {
    enum class Load : unsigned char {
        signed_words, ///< four 16-bit fields side by side, big-endian
        unsigned_words,
        integers,
        prepared ///< the values are in place already
    };
    alignas(32) std::array<double, kQuadLanes> gain;
    alignas(32)
        std::array<double, kQuadLanes> offset; ///< -0.0 without calibration: adds nothing, not even to a zero's sign
    alignas(32) std::array<double, kQuadLanes> least; ///< infinities where there is no valid range
    alignas(32) std::array<double, kQuadLanes> greatest;
    std::array<IntegerStep, kQuadLanes> integers;
    Load load;
};

struct TextStep {
    std::uint32_t octet;
    std::uint32_t size;
};

struct RowPlan {
    std::size_t table = 0;
    std::size_t number_count = 0;
    std::vector<QuadStep> quads;
    std::vector<OtherStep> others;
    std::vector<CurveStep> curves;
    std::vector<TextStep> texts;
    bool may_overflow = false; ///< a value can be infinite or no number
};

/// Where a row's fields stand in their packet, in octets.
struct RowPlace {
    std::size_t first;  ///< the row's bit 0 (in a batch: the last sample's)
    std::size_t base;   ///< what steps count from: 0, or for a batch the last sample's start
    std::size_t packet; ///< the packet's size: nothing behind it is ever read
};

[[nodiscard]] RowPlan make_row_plan(std::size_t table, const std::vector<Field>& fields, const RowPlace& place);

/// Rows of one plan at equal distances: a batch's samples, or one row.
struct RowSeries {
    const std::byte* base; ///< of the first
    std::size_t stride;    ///< octets from one to the next
    std::size_t count;
};

/// Writes each row's numbers to `values`, kQuadLanes * quads.size() apart, and its DecodedRow::out_of_range to `marks`.
/// The vectors are the widest this processor has; the bits of the result do not depend on them.
void decode_numbers(const RowPlan& row, const RowSeries& series, double* values, std::uint64_t* marks) noexcept;

/// The same with what every processor has: what tests compare the fast way with.
void decode_numbers_portable(const RowPlan& row, const RowSeries& series, double* values,
                             std::uint64_t* marks) noexcept;

} // namespace turnstone
