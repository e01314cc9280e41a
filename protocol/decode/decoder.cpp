#include "protocol/decode/decoder.hpp"

#include <algorithm>
#include <array>
#include <utility>
#include <vector>

#include "protocol/decode/decode_numbers_vector.hpp"
#include "protocol/decode/decode_plan.hpp"
#include "protocol/dictionary/utf8.hpp"
#include "protocol/framing/deframer.hpp"
#include "protocol/packet/space_packet.hpp"
#include "protocol/packet/time_code.hpp"

namespace turnstone {
namespace {

/// What is needed to decode one table's rows.
struct TablePlan {
    std::size_t table;
    VectorRow numbers;
    std::vector<TextStep> texts;
    std::size_t first_byte; ///< of the first row, from the packet's start
    std::size_t stride;     ///< bytes from one row to the next
    std::size_t count;
    double first_offset_ms;
    double period_ms;
};

struct PacketPlan {
    std::size_t packet_bytes = 0;
    std::vector<TablePlan> tables; ///< of the fields, of the batch
};

constexpr std::int16_t kNoPlan = -1;

} // namespace

struct Decoder::Plan {
    const Dictionary* dictionary = nullptr;
    std::array<std::int16_t, kIdleApid> by_apid{};
    std::vector<PacketPlan> packets;
    // Results of the last decode; sized once for the largest packet.
    std::vector<DecodedRow> rows;
    std::vector<std::uint64_t> marks;
    std::vector<double> numbers;
    std::vector<std::string_view> texts;
    std::vector<char> characters;

    std::size_t rows_used = 0;
    std::size_t numbers_used = 0;
    std::size_t texts_used = 0;
    std::size_t characters_used = 0;

    void add_table(std::size_t index, std::size_t header_bytes);
    void make_room();
    void decode_table(const TablePlan& table, const std::byte* packet) noexcept;
    std::span<const std::string_view> decode_texts(const TablePlan& table, const std::byte* base) noexcept;
};

Decoder::Decoder(const Dictionary& dictionary) : plan_(std::make_unique<Plan>()) {
    plan_->dictionary = &dictionary;
    plan_->by_apid.fill(kNoPlan);
    const std::size_t header_bytes = kPrimaryHeaderBytes + dictionary.time.bytes();
    for (const Packet& packet : dictionary.packets) {
        plan_->by_apid.at(packet.apid) = static_cast<std::int16_t>(plan_->packets.size());
        plan_->packets.emplace_back().packet_bytes = header_bytes + packet.user_data_bytes;
    }
    for (std::size_t i = 0; i < dictionary.tables.size(); ++i) plan_->add_table(i, header_bytes);
    plan_->make_room();
}

Decoder::Decoder(Decoder&&) noexcept = default;
Decoder::~Decoder() = default;

void Decoder::Plan::add_table(std::size_t index, std::size_t header_bytes) {
    const ChannelTable& table = dictionary->tables[index];
    const Packet& packet = dictionary->packets[table.packet];
    PacketPlan& target = packets[table.packet];
    RowPlan row = make_row_plan(table);
    if (!table.is_batch) {
        target.tables.push_back({.table = index,
                                 .numbers = {std::move(row.numbers), target.packet_bytes - header_bytes},
                                 .texts = std::move(row.texts),
                                 .first_byte = header_bytes,
                                 .stride = 0,
                                 .count = 1,
                                 .first_offset_ms = 0.0,
                                 .period_ms = 0.0});
        return;
    }
    const SampleBatch& batch = *packet.batch;
    const std::size_t stride = batch.sample_bits / 8;
    const std::size_t first_byte = header_bytes + batch.bit_offset / 8;
    const std::size_t last_byte = first_byte + (batch.count - 1) * stride;
    target.tables.push_back({.table = index,
                             .numbers = {std::move(row.numbers), target.packet_bytes - last_byte},
                             .texts = std::move(row.texts),
                             .first_byte = first_byte,
                             .stride = stride,
                             .count = batch.count,
                             .first_offset_ms = batch.first_offset_ms,
                             .period_ms = batch.period_ms});
}

void Decoder::Plan::make_room() {
    std::size_t rows_max = 0;
    std::size_t numbers_max = 0;
    std::size_t texts_max = 0;
    for (const PacketPlan& packet : packets) {
        std::size_t row_count = 0;
        std::size_t number_count = 0;
        std::size_t text_count = 0;
        for (const TablePlan& table : packet.tables) {
            row_count += table.count;
            number_count += table.count * table.numbers.size();
            text_count += table.count * table.texts.size();
        }
        rows_max = std::max(rows_max, row_count);
        numbers_max = std::max(numbers_max, number_count);
        texts_max = std::max(texts_max, text_count);
    }
    rows.resize(rows_max);
    marks.resize(rows_max);
    numbers.resize(numbers_max + kSpareNumbers);
    texts.resize(texts_max);
    characters.resize(3 * kFrameBytesMax); // each byte that is not UTF-8 becomes three
}

void Decoder::Plan::decode_table(const TablePlan& table, const std::byte* packet) noexcept {
    const RowSeries series{packet + table.first_byte, table.stride, table.count};
    double* values = numbers.data() + numbers_used;
    table.numbers.decode(series, values, marks.data());
    DecodedRow* out = rows.data() + rows_used;
    for (std::size_t k = 0; k < table.count; ++k, ++out, values += table.numbers.size()) {
        *out = {.table = table.table,
                .time_offset_ms = table.first_offset_ms + static_cast<double>(k) * table.period_ms,
                .numbers = {values, table.numbers.size()},
                .texts = {},
                .out_of_range = marks[k]};
        if (!table.texts.empty()) [[unlikely]]
            out->texts = decode_texts(table, series.base + k * series.stride);
    }
    rows_used += table.count;
    numbers_used += table.count * table.numbers.size();
}

std::span<const std::string_view> Decoder::Plan::decode_texts(const TablePlan& table, const std::byte* base) noexcept {
    const std::span<std::string_view> out = std::span(texts).subspan(texts_used, table.texts.size());
    for (std::size_t i = 0; i < out.size(); ++i) {
        const std::byte* const begin = base + table.texts[i].byte;
        const std::byte* const end = std::find(begin, begin + table.texts[i].size, std::byte{0});
        char* const to = characters.data() + characters_used;
        const std::size_t size = to_valid_utf8({begin, end}, to);
        characters_used += size;
        out[i] = {to, size};
    }
    texts_used += out.size();
    return out;
}

DecodedPacket Decoder::decode(std::span<const std::byte> packet) noexcept {
    Plan& plan = *plan_;
    DecodedPacket decoded{DecodeVerdict::wrong_size, 0, 0, 0, 0, {}};
    const auto header = decode_primary_header(packet);
    if (!header) return decoded;
    decoded.apid = header->apid;
    decoded.sequence_count = header->sequence_count;
    const auto refuse = [&](DecodeVerdict verdict) {
        decoded.verdict = verdict;
        return decoded;
    };
    if (header->apid == kIdleApid) return refuse(DecodeVerdict::idle);
    if (header->telecommand || header->packet_version_number != 0 ||
        header->sequence_flags != SequenceFlags::unsegmented)
        return refuse(DecodeVerdict::not_telemetry);
    const std::int16_t index = plan.by_apid[header->apid];
    if (index == kNoPlan) return refuse(DecodeVerdict::unknown_apid);
    if (!header->secondary_header_flag) return refuse(DecodeVerdict::no_time);
    const PacketPlan& target = plan.packets[static_cast<std::size_t>(index)];
    if (packet.size() != target.packet_bytes ||
        kPrimaryHeaderBytes + std::size_t{header->packet_data_length} + 1 != packet.size())
        return refuse(DecodeVerdict::wrong_size);

    plan.rows_used = plan.numbers_used = plan.texts_used = plan.characters_used = 0;
    for (const TablePlan& table : target.tables) plan.decode_table(table, packet.data());
    decoded.verdict = DecodeVerdict::good;
    decoded.packet = static_cast<std::size_t>(index);
    decoded.onboard_ticks_ns = decode_time_ns(plan.dictionary->time, packet.subspan(kPrimaryHeaderBytes));
    decoded.rows = {plan.rows.data(), plan.rows_used};
    return decoded;
}

} // namespace turnstone
