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
#include "protocol/decode/packet_walk.hpp"
#include "protocol/packet/space_packet.hpp"

namespace turnstone {

struct PlainRow {
    std::vector<double> numbers;
    std::uint64_t out_of_range = 0;
};

/// `bytes` is a packet that decodes well, of type `about`.
inline std::vector<PlainRow> plain_rows(const Dictionary& dictionary, const Packet& about,
                                        std::span<const std::byte> bytes) {
    std::vector<PlainRow> rows;
    const auto add = [&](const ChannelTable& table, std::size_t first_byte) {
        const RowPlan plan = make_row_plan(dictionary, table);
        PlainRow row{std::vector<double>(plan.numbers.size())};
        decode_numbers(plan.numbers, {bytes.data() + first_byte, 0, 1}, row.numbers.data(), &row.out_of_range);
        rows.push_back(std::move(row));
    };
    for (const ChannelTable& table : dictionary.tables) {
        if (&dictionary.packets[table.packet] != &about) continue;
        if (table.group == nullptr) {
            add(table, kPrimaryHeaderBytes);
            continue;
        }
        const std::size_t first_byte = kPrimaryHeaderBytes + about.header_bytes + about.body.segments[0].bits / 8;
        for (std::size_t k = 0; k < table.group->count.number; ++k)
            add(table, first_byte + k * ((*table.group->layout.bits_fixed + 7) / 8));
    }
    return rows;
}

/// Whether the walk through the packet gives what the decoder gave, texts and times included.
inline bool same_by_walk(const PacketWalk& walk, const DecodedPacket& decoded, std::span<const std::byte> bytes) {
    WalkedRows walked;
    if (!walk.read(bytes, walked) || walked.rows.size() != decoded.rows.size()) return false;
    for (std::size_t k = 0; k < walked.rows.size(); ++k) {
        const WalkedRows::Row& row = walked.rows[k];
        const DecodedRow& expected = decoded.rows[k];
        if (row.table != expected.table || row.time_offset_ms != expected.time_offset_ms ||
            row.out_of_range != expected.out_of_range)
            return false;
        for (std::size_t i = 0; i < expected.numbers.size(); ++i)
            if (std::bit_cast<std::uint64_t>(walked.numbers[row.numbers_at + i]) !=
                std::bit_cast<std::uint64_t>(expected.numbers[i]))
                return false;
        for (std::size_t i = 0; i < expected.texts.size(); ++i) {
            const WalkedRows::Text& text = walked.texts[row.texts_at + i];
            if (std::string_view(walked.characters.data() + text.at, text.size) != expected.texts[i]) return false;
        }
    }
    return true;
}

/// One for each packet.
inline std::vector<PacketWalk> walks_of(const Dictionary& dictionary) {
    std::vector<PacketWalk> walks;
    for (std::size_t k = 0; k < dictionary.packets.size(); ++k) walks.emplace_back(dictionary, k);
    return walks;
}

inline bool same_bits(std::span<const double> a, std::span<const double> b) {
    return std::ranges::equal(a, b, {}, std::bit_cast<std::uint64_t, double>, std::bit_cast<std::uint64_t, double>);
}

} // namespace turnstone
