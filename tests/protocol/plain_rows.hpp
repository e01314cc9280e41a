#pragma once
/// A packet's number channels by the plain way, row by row in the decoder's order: what its vectors are compared with.
#include <algorithm>
#include <bit>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "protocol/decode/decode_numbers.hpp"
#include "protocol/decode/decoder.hpp"
#include "protocol/packet/space_packet.hpp"

namespace turnstone {

struct PlainRow {
    std::vector<double> numbers;
    std::uint64_t out_of_range = 0;
};

/// `bytes` is a packet that decodes well, of type `about`.
inline std::vector<PlainRow> plain_rows(const Dictionary& dictionary, const Packet& about,
                                        std::span<const std::byte> bytes) {
    const std::span<const std::byte> user_data = bytes.subspan(kPrimaryHeaderBytes + dictionary.time.bytes());
    std::vector<PlainRow> rows;
    const auto add = [&](const ChannelTable& table, std::size_t first_bit) {
        const RowPlan plan = make_row_plan(table);
        PlainRow row{std::vector<double>(plan.numbers.size())};
        decode_numbers(plan.numbers, {user_data.data() + first_bit / 8, 0, 1}, row.numbers.data(), &row.out_of_range);
        rows.push_back(std::move(row));
    };
    for (const ChannelTable& table : dictionary.tables) {
        if (&dictionary.packets[table.packet] != &about) continue;
        for (std::size_t k = 0; k < (table.is_batch ? about.batch->count : 1); ++k)
            add(table, table.is_batch ? about.batch->bit_offset + k * about.batch->sample_bits : 0);
    }
    return rows;
}

inline bool same_bits(std::span<const double> a, std::span<const double> b) {
    return std::ranges::equal(a, b, {}, std::bit_cast<std::uint64_t, double>, std::bit_cast<std::uint64_t, double>);
}

} // namespace turnstone
