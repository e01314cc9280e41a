#include "protocol/packet/decoder.hpp"

#include <algorithm>
#include <array>
#include <optional>

#include "protocol/dictionary/utf8.hpp"
#include "protocol/framing/deframer.hpp"
#include "protocol/packet/decode_plan.hpp"
#include "protocol/packet/space_packet.hpp"
#include "protocol/packet/time_code.hpp"

namespace turnstone {
namespace {

struct PacketPlan {
    std::size_t packet_octets = 0;
    std::optional<RowPlan> row;
    std::optional<RowPlan> batch;
    std::size_t batch_octet = 0; ///< of the first sample
    std::size_t sample_octets = 0;
    unsigned sample_count = 0;
    double first_offset_ms = 0.0;
    double period_ms = 0.0;
};

constexpr std::int16_t kNoPlan = -1;

} // namespace

struct Decoder::Plan {
    const Dictionary* dictionary = nullptr;
    std::array<std::int16_t, kIdleApid> by_apid{};
    std::vector<PacketPlan> packets;
    std::size_t time_octets = 0;
    // Results of the last decode; sized once for the largest packet.
    std::vector<DecodedRow> rows;
    std::vector<double> numbers;
    std::vector<std::string_view> texts;
    std::vector<char> characters;

    std::size_t rows_used = 0;
    std::size_t numbers_used = 0;
    std::size_t texts_used = 0;
    std::size_t characters_used = 0;

    std::vector<std::uint64_t> marks;

    void decode_rows(const RowPlan& row, const RowSeries& series, double first_offset_ms, double period_ms) noexcept;
    std::span<const std::string_view> decode_texts(const RowPlan& row, const std::byte* base) noexcept;
};

Decoder::Decoder(const Dictionary& dictionary) : plan_(std::make_unique<Plan>()) {
    Plan& plan = *plan_;
    plan.dictionary = &dictionary;
    plan.by_apid.fill(kNoPlan);
    plan.time_octets = dictionary.time.octets();
    const std::size_t header_octets = kPrimaryHeaderOctets + plan.time_octets;
    for (const Packet& packet : dictionary.packets) {
        plan.by_apid.at(packet.apid) = static_cast<std::int16_t>(plan.packets.size());
        plan.packets.emplace_back().packet_octets = header_octets + packet.user_data_octets;
    }
    std::size_t rows_max = 0;
    std::size_t numbers_max = 0;
    std::size_t texts_max = 0;
    std::vector<std::size_t> rows(plan.packets.size());
    std::vector<std::size_t> numbers(plan.packets.size());
    std::vector<std::size_t> texts(plan.packets.size());
    for (std::size_t t = 0; t < dictionary.tables.size(); ++t) {
        const ChannelTable& table = dictionary.tables[t];
        const Packet& packet = dictionary.packets[table.packet];
        PacketPlan& target = plan.packets[table.packet];
        std::size_t row_count = 1;
        if (table.is_batch) {
            target.batch_octet = header_octets + packet.batch->bit_offset / 8;
            target.sample_octets = packet.batch->sample_bits / 8;
            target.sample_count = packet.batch->count;
            const std::size_t last = target.batch_octet + (target.sample_count - 1) * target.sample_octets;
            target.batch = make_row_plan(t, packet.batch->fields, {last, last, target.packet_octets});
            target.first_offset_ms = packet.batch->first_offset_ms;
            target.period_ms = packet.batch->period_ms;
            row_count = target.sample_count;
        } else {
            target.row = make_row_plan(t, packet.fields, {header_octets, 0, target.packet_octets});
        }
        rows_max = std::max(rows_max, rows[table.packet] += row_count);
        numbers_max = std::max(numbers_max, numbers[table.packet] += row_count * (table.number_count + kQuadLanes - 1));
        texts_max = std::max(texts_max, texts[table.packet] += row_count * table.text_count);
    }
    plan.rows.resize(rows_max);
    plan.marks.resize(rows_max);
    plan.numbers.resize(numbers_max);
    plan.texts.resize(texts_max);
    plan.characters.resize(3 * kFrameOctetsMax); // an octet that is not UTF-8 becomes three
}

Decoder::Decoder(Decoder&&) noexcept = default;
Decoder::~Decoder() = default;

void Decoder::Plan::decode_rows(const RowPlan& row, const RowSeries& series, double first_offset_ms,
                                double period_ms) noexcept {
    const std::size_t stride = kQuadLanes * row.quads.size();
    double* values = numbers.data() + numbers_used;
    decode_numbers(row, series, values, marks.data());
    DecodedRow* out = rows.data() + rows_used;
    for (std::size_t k = 0; k < series.count; ++k, values += stride) {
        *out++ = {
            row.table, first_offset_ms + static_cast<double>(k) * period_ms, {values, row.number_count}, {}, marks[k]};
        if (!row.texts.empty()) [[unlikely]]
            out[-1].texts = decode_texts(row, series.base + k * series.stride);
    }
    rows_used += series.count;
    numbers_used += series.count * stride;
}

std::span<const std::string_view> Decoder::Plan::decode_texts(const RowPlan& row, const std::byte* base) noexcept {
    const std::span<std::string_view> out = std::span(texts).subspan(texts_used, row.texts.size());
    for (std::size_t i = 0; i < out.size(); ++i) {
        const std::byte* const begin = base + row.texts[i].octet;
        const std::byte* const end = std::find(begin, begin + row.texts[i].size, std::byte{0});
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
    if (packet.size() != target.packet_octets ||
        kPrimaryHeaderOctets + std::size_t{header->packet_data_length} + 1 != packet.size())
        return refuse(DecodeVerdict::wrong_size);

    plan.rows_used = plan.numbers_used = plan.texts_used = plan.characters_used = 0;
    if (target.row) plan.decode_rows(*target.row, {packet.data(), 0, 1}, 0.0, 0.0);
    if (target.batch)
        plan.decode_rows(*target.batch, {packet.data() + target.batch_octet, target.sample_octets, target.sample_count},
                         target.first_offset_ms, target.period_ms);
    decoded.verdict = DecodeVerdict::good;
    decoded.packet = static_cast<std::size_t>(index);
    decoded.onboard_ticks_ns = decode_time_ns(plan.dictionary->time, packet.subspan(kPrimaryHeaderOctets));
    decoded.rows = {plan.rows.data(), plan.rows_used};
    return decoded;
}

} // namespace turnstone
