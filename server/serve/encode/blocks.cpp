#include "server/serve/encode/blocks.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <concepts>
#include <cstring>
#include <limits>

#include "server/serve/encode/tape_time.hpp"

namespace turnstone {
namespace {

static_assert(std::endian::native == std::endian::little, "the stream's numbers are copied as they lie in memory");

constexpr std::size_t kMessageHeaderBytes = 24;
constexpr std::size_t kBlockHeaderBytes = 8;
constexpr unsigned char kVersion = 1;
constexpr unsigned char kKindRows = 1;

template <class T>
void put(std::string& out, T value) {
    char bytes[sizeof value];
    std::memcpy(bytes, &value, sizeof value);
    out.append(bytes, sizeof value);
}

/// One quiet NaN for all, so that equal messages are equal bytes.
void put_number(std::string& out, double value) {
    put(out, std::isnan(value) ? std::bit_cast<double>(std::uint64_t{0x7ff8000000000000}) : value);
}

std::size_t block_bytes(std::size_t rows, std::size_t columns) {
    return kBlockHeaderBytes + rows * row_bytes(columns);
}

/// A frame with room for `payload` bytes, its WebSocket header written.
std::shared_ptr<std::string> begin_frame(std::size_t payload) {
    auto wire = std::make_shared<std::string>(frame_header(Opcode::binary, payload));
    wire->reserve(wire->size() + payload);
    return wire;
}

void put_message_header(std::string& out, BlockFlags flags, std::size_t blocks, std::uint64_t seq, double newest_t_s) {
    put(out, kVersion);
    put(out, kKindRows);
    put(out, static_cast<std::uint16_t>((flags.replay ? 1 : 0) | (flags.coalesced ? 2 : 0)));
    put(out, static_cast<std::uint32_t>(blocks));
    put(out, seq);
    put_number(out, newest_t_s);
}

void put_block_header(std::string& out, std::size_t table, std::size_t columns, std::size_t rows) {
    put(out, static_cast<std::uint16_t>(table));
    put(out, static_cast<std::uint16_t>(columns));
    put(out, static_cast<std::uint32_t>(rows));
}

} // namespace

std::vector<BlockMessage> BlockEncoder::rows(const Batch& batch, const Schema& schema, std::int64_t t_start_ns,
                                             std::uint64_t seq, BlockFlags flags) {
    std::vector<BlockMessage> messages;
    rows_of_table_.resize(schema.tables.size());
    std::size_t bytes = 0;
    const auto finish = [&] {
        messages.push_back(message(batch, schema, t_start_ns, seq++, flags));
        for (auto& of_table : rows_of_table_) of_table.clear();
        bytes = 0;
    };
    for (const RowRecord& row : batch.rows) {
        const std::size_t columns = schema.tables[row.table].number_count;
        const std::size_t as_first = block_bytes(1, columns);
        std::size_t more = rows_of_table_[row.table].empty() ? as_first : row_bytes(columns);
        if (bytes > 0 && bytes + more > kBlockMessageBytes) {
            finish();
            more = as_first;
        }
        rows_of_table_[row.table].push_back(&row);
        bytes += more;
    }
    if (bytes > 0) finish();
    return messages;
}

BlockMessage BlockEncoder::message(const Batch& batch, const Schema& schema, std::int64_t t_start_ns, std::uint64_t seq,
                                   BlockFlags flags) const {
    std::int64_t oldest_ns = std::numeric_limits<std::int64_t>::max();
    std::int64_t newest_ns = std::numeric_limits<std::int64_t>::min();
    std::size_t blocks = 0;
    std::size_t payload = kMessageHeaderBytes;
    for (std::size_t table = 0; table < rows_of_table_.size(); ++table) {
        const auto& of_table = rows_of_table_[table];
        if (of_table.empty()) continue;
        ++blocks;
        payload += block_bytes(of_table.size(), schema.tables[table].number_count);
        for (const RowRecord* row : of_table) {
            oldest_ns = std::min(oldest_ns, row->t_ns);
            newest_ns = std::max(newest_ns, row->t_ns);
        }
    }

    BlockMessage message{.wire = nullptr,
                         .seq = seq,
                         .from_t_s = tape_seconds(oldest_ns, t_start_ns),
                         .to_t_s = tape_seconds(newest_ns, t_start_ns)};
    auto wire = begin_frame(payload);
    put_message_header(*wire, flags, blocks, seq, message.to_t_s);
    for (std::size_t table = 0; table < rows_of_table_.size(); ++table) {
        const auto& of_table = rows_of_table_[table];
        if (of_table.empty()) continue;
        const std::size_t columns = schema.tables[table].number_count;
        put_block_header(*wire, table, columns, of_table.size());
        for (const RowRecord* row : of_table) put_number(*wire, tape_seconds(row->t_ns, t_start_ns));
        for (std::size_t column = 0; column < columns; ++column)
            for (const RowRecord* row : of_table) put_number(*wire, batch.numbers[row->numbers_offset + column]);
    }
    message.wire = std::move(wire);
    return message;
}

WireMessage BlockEncoder::newest(const LatestRows& latest, std::int64_t t_start_ns, std::uint64_t seq) {
    std::size_t blocks = 0;
    std::size_t payload = kMessageHeaderBytes;
    std::int64_t newest_ns = t_start_ns;
    for (const auto& row : latest) {
        if (!row) continue;
        ++blocks;
        payload += block_bytes(1, row->second.size());
        newest_ns = std::max(newest_ns, row->first);
    }
    auto wire = begin_frame(payload);
    put_message_header(*wire, {.replay = false, .coalesced = true}, blocks, seq, tape_seconds(newest_ns, t_start_ns));
    for (std::size_t table = 0; table < latest.size(); ++table) {
        const auto& row = latest[table];
        if (!row) continue;
        put_block_header(*wire, table, row->second.size(), 1);
        put_number(*wire, tape_seconds(row->first, t_start_ns));
        for (const double value : row->second) put_number(*wire, value);
    }
    return wire;
}

std::string encode_series(const SeriesBlock& block, TableId table, std::size_t columns, std::int64_t t_start_ns) {
    const bool decimated = std::any_of(block.count.begin(), block.count.end(), [](std::uint32_t n) { return n > 1; });
    std::string out;
    out.reserve(16 + 8 * block.rows * (1 + columns * (decimated ? 3 : 1)));
    out += "TSS1";
    put(out, table);
    put(out, static_cast<std::uint16_t>(columns));
    put(out, static_cast<std::uint32_t>(block.rows));
    put(out, std::uint32_t{decimated ? 1u : 0u});
    for (const std::int64_t t_ns : block.t_ns) put_number(out, tape_seconds(t_ns, t_start_ns));
    const auto put_all = [&](const std::vector<double>& values) {
        for (const double value : values) put_number(out, value);
    };
    if (decimated) {
        put_all(block.min);
        put_all(block.max);
    }
    put_all(block.mean);
    return out;
}

} // namespace turnstone
