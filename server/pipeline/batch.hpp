#pragma once
/// What a pipeline makes of some inputs, in order. It can be made again from them. The recorder and the stream share
/// one Batch; both read it, neither changes or copies it.
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "protocol/decode/decoder.hpp"
#include "protocol/framing/frame.hpp"
#include "server/estimate/event.hpp"
#include "server/pipeline/inputs.hpp"
#include "server/pipeline/series.hpp"

namespace turnstone {

enum class PacketVerdict : unsigned char {
    accepted,   ///< decoded, rows made
    duplicate,  ///< the same packet came by another link, or twice
    late,       ///< older than one already accepted: decoded and recorded, not shown to the estimators
    idle,       ///< nothing for a row: an idle packet, a part of what comes later, a sentence that nobody reads
    bad_frame,  ///< see frame verdict
    undecodable ///< good frame, but the dictionary cannot read it: see decode verdict
};
consteval auto words_of(PacketVerdict) {
    return words<PacketVerdict::undecodable>("accepted", "duplicate", "late", "idle", "bad_frame", "undecodable");
}

/// The bytes that one delimiter closed, and what became of them.
struct FrameRecord {
    LinkId link = 0;
    std::int64_t t_rx_ns = 0; ///< of the chunk with its last byte
    std::uint64_t stream_offset = 0;
    std::uint32_t link_bytes = 0;
    FrameVerdict frame_verdict = FrameVerdict::good;
    DecodeVerdict decode_verdict = DecodeVerdict::good;
    PacketVerdict packet_verdict = PacketVerdict::bad_frame;
    std::int32_t apid = -1;           ///< -1: unknown
    std::int32_t sequence_count = -1; ///< -1: unknown
    std::int64_t onboard_ns = -1;     ///< since boot, unwrapped; -1: unknown
    std::uint32_t boot = 0;           ///< boots seen before this packet, from 0
    friend bool operator==(const FrameRecord&, const FrameRecord&) = default;
};

/// One row of one table. Numbers and texts are ranges of Batch::numbers and Batch::texts.
struct RowRecord {
    TableId table;
    std::int64_t t_ns;    ///< station time the row is about (clock correlation already applied)
    std::int64_t t_rx_ns; ///< station time it was received or computed
    std::int32_t frame;   ///< index into Batch::frames of the packet it came from; -1: an estimate
    std::uint32_t numbers_offset;
    std::uint32_t texts_offset;
    friend bool operator==(const RowRecord&, const RowRecord&) = default;
};

/// How far a batch had come at some moment: what is appended later begins here.
struct Marks {
    std::size_t rows = 0;
    std::size_t events = 0;
};

struct Batch {
    std::vector<FrameRecord> frames;
    std::vector<RowRecord> rows;
    std::vector<double> numbers;
    std::vector<std::string> texts;
    std::vector<Event> events;

    [[nodiscard]] bool empty() const noexcept { return frames.empty() && rows.empty() && events.empty(); }
    [[nodiscard]] Marks marks() const noexcept { return {rows.size(), events.size()}; }
    void clear() noexcept; ///< keeps capacity
    /// The only way to a row: throws std::logic_error when the numbers or texts are not as many as the table's columns.
    /// `frame` indexes `frames`; -1 for what came from no packet.
    void add_row(const Table& table, std::int64_t t_ns, std::int64_t t_rx_ns, std::span<const double> row_numbers,
                 std::span<const std::string_view> row_texts = {}, std::int32_t frame = -1);
    [[nodiscard]] std::span<const double> numbers_of(const RowRecord& row, const Table& table) const noexcept {
        return {numbers.data() + row.numbers_offset, table.number_count};
    }
    [[nodiscard]] std::span<const std::string> texts_of(const RowRecord& row, const Table& table) const noexcept {
        return {texts.data() + row.texts_offset, table.columns.size() - table.number_count};
    }
    /// Compares numbers by their bits, so that NaN equals the same NaN: this is what "identical outputs" means.
    friend bool operator==(const Batch& a, const Batch& b) noexcept;
};

} // namespace turnstone
