#pragma once
/// Where a row's channels are in a packet and what their bits mean, worked out once from the dictionary. Inner part of
/// the decoder.
#include <cstddef>
#include <cstdint>
#include <vector>

#include "protocol/dictionary/dictionary.hpp"

namespace turnstone {

/// One number channel. Bytes count from the row's base.
struct NumberStep {
    enum class Raw : unsigned char {
        unsigned_integer,
        signed_integer,
        half,
        single,
        real,
        sign_magnitude,
        ones_complement,
        offset_binary,
        bcd,
        mil_std_1750a,
        time
    };
    std::uint32_t byte;  ///< that holds its first bit
    unsigned char skip;  ///< bits before it in that byte, from the side that bits are counted from
    unsigned char width; ///< bits, 1 to 64; a time's may be more
    bool is_little;
    bool is_lsb_first;
    Raw raw;
    const Calibration* calibration; ///< of the field; never null
    const TimeCode* time;           ///< of a time
    double least;                   ///< infinities where there is no valid range
    double greatest;
};

struct TextStep {
    std::uint32_t byte;
    std::uint32_t size;
    const Field* field;
};

struct RowPlan {
    std::vector<NumberStep> numbers; ///< by Channel::place
    std::vector<TextStep> texts;     ///< after them
};

/// `bit` is that of the field's first element, from the row's base.
[[nodiscard]] NumberStep number_step(const Field& field, std::uint32_t bit, unsigned element = 0);
[[nodiscard]] NumberStep number_step(const PlacedInteger& at);

/// Of a table whose channels are always at the same place and have no words. A row's base is its repetition of the
/// group, or the end of the primary header. The dictionary must outlive the plan.
[[nodiscard]] RowPlan make_row_plan(const Dictionary& dictionary, const ChannelTable& table);

/// Rows of one plan at equal distances: a batch's samples, or one row.
struct RowSeries {
    const std::byte* base; ///< of the first
    std::size_t stride;    ///< bytes from one to the next
    std::size_t count;
};

} // namespace turnstone
