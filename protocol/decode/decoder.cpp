#include "protocol/decode/decoder.hpp"

#include <algorithm>
#include <array>
#include <optional>
#include <utility>
#include <vector>

#include "protocol/decode/decode_numbers.hpp"
#include "protocol/decode/decode_numbers_vector.hpp"
#include "protocol/decode/decode_plan.hpp"
#include "protocol/decode/packet_walk.hpp"
#include "protocol/decode/text.hpp"
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

/// Whether `condition` is on the primary header's field that begins at `bit`.
bool is_on(const PacketCondition& condition, std::uint32_t bit) {
    return condition.at.bit == bit;
}
constexpr std::uint32_t kVersionBit = 0;
constexpr std::uint32_t kTypeBit = 3;
constexpr std::uint32_t kHeaderFlagBit = 4;
constexpr std::uint32_t kSequenceFlagsBit = 16;

struct PacketPlan {
    const Packet* packet;
    std::vector<std::pair<NumberStep, const std::vector<RawRange>*>> when;
    /// What a packet must have that no condition of its own speaks of.
    bool is_version_0 = true, is_telemetry = true, is_unsegmented = true, has_header_flag = true;
    std::size_t size_of_when = 0;
    std::vector<TablePlan> tables;  ///< of the fields, of the batch
    std::optional<PacketWalk> walk; ///< in place of `tables`
};

/// Packets with one APID follow each other.
struct ApidPlan {
    std::uint16_t first = 0;
    std::uint16_t count = 0;
};

bool is_plain(const Field& field) {
    return field.words.empty() && field.calibration_slot == kNoSlot;
}

/// Whether the rows of a group always the same have room: fields that share bits give more than the packet holds.
bool has_room(const Group& group) {
    std::uint64_t numbers = 0;
    std::uint64_t characters = 0;
    for (const Field& field : group.layout.fields)
        if (field.is_text())
            characters += std::uint64_t{3} * field.count * field.bit_width / 8;
        else
            numbers += field.count;
    const std::uint64_t count = group.count.number;
    return count <= kWalkedRowsMax && count * numbers <= kWalkedNumbersMax &&
           count * characters <= kWalkedCharactersMax;
}

bool is_plain(const Layout& layout) {
    return std::ranges::all_of(
        layout.fields, [](const Field& field) { return is_plain(field); });
}

/// Every channel is always at the same place, and a group, if there is one, is a batch at the end.
bool is_fixed(const Packet& packet) {
    const Layout& body = packet.body;
    if (!body.bits_fixed || !is_plain(packet.header) || !is_plain(body) || body.groups.size() > 1) return false;
    if (body.groups.empty()) return true;
    const Group& group = body.groups[0];
    if (!group.layout.groups.empty() || !is_plain(group.layout) || !has_room(group)) return false;
    const bool is_last = body.segments.size() == 2 && body.segments[1].bits == 0;
    const bool is_whole = group.is_padded || *group.layout.bits_fixed % 8 == 0;
    return is_last && is_whole && body.segments[0].bits % 8 == 0;
}

} // namespace

struct Decoder::Plan {
    const Dictionary* dictionary = nullptr;
    std::array<ApidPlan, kIdleApid> by_apid{};
    std::vector<PacketPlan> packets; ///< by APID, in the dictionary's order
    std::vector<std::size_t> index;  ///< of each in the dictionary
    // Results of the last decode; sized once for the largest packet that needs no walk.
    std::vector<DecodedRow> rows;
    std::vector<std::uint64_t> marks;
    std::vector<double> numbers;
    std::vector<std::string_view> texts;
    std::vector<char> characters;
    WalkedRows walked;

    std::size_t rows_used = 0;
    std::size_t numbers_used = 0;
    std::size_t texts_used = 0;
    std::size_t characters_used = 0;

    void add_packet(std::size_t which);
    void add_table(PacketPlan& target, std::size_t which, const Group* group) const;
    void make_room();
    void decode_table(const TablePlan& table, const std::byte* packet) noexcept;
    std::span<const std::string_view> decode_texts(const TablePlan& table, const std::byte* base) noexcept;
    [[nodiscard]] DecodeVerdict judge(const PacketPlan& plan, const PrimaryHeader& header,
                                      std::span<const std::byte> packet) const noexcept;
    bool walk(const PacketPlan& plan, std::span<const std::byte> packet);
    void read_time(const Packet& about, std::span<const std::byte> packet, DecodedPacket& decoded) const noexcept;
};

Decoder::Decoder(const Dictionary& dictionary) : plan_(std::make_unique<Plan>()) {
    plan_->dictionary = &dictionary;
    std::vector<std::size_t> order(dictionary.packets.size());
    for (std::size_t i = 0; i < order.size(); ++i) order[i] = i;
    std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
        return dictionary.packets[a].apid < dictionary.packets[b].apid;
    });
    for (const std::size_t which : order) plan_->add_packet(which);
    plan_->make_room();
}

Decoder::Decoder(Decoder&&) noexcept = default;
Decoder::~Decoder() = default;

void Decoder::Plan::add_packet(std::size_t which) {
    const Packet& packet = dictionary->packets[which];
    ApidPlan& apid = by_apid.at(packet.apid);
    if (apid.count == 0) apid.first = static_cast<std::uint16_t>(packets.size());
    ++apid.count;
    index.push_back(which);
    PacketPlan& target = packets.emplace_back();
    target.packet = &packet;
    for (const PacketCondition& condition : packet.when) {
        target.when.emplace_back(number_step(condition.at), &condition.ranges);
        target.size_of_when =
            std::max<std::size_t>(target.size_of_when, (condition.at.bit + condition.at.bit_width + 7) / 8);
        target.is_version_0 = target.is_version_0 && !is_on(condition, kVersionBit);
        target.is_telemetry = target.is_telemetry && !is_on(condition, kTypeBit);
        target.is_unsegmented = target.is_unsegmented && !is_on(condition, kSequenceFlagsBit);
        target.has_header_flag = target.has_header_flag && !is_on(condition, kHeaderFlagBit);
    }
    target.has_header_flag = target.has_header_flag && packet.header_bytes > 0;
    if (!is_fixed(packet)) {
        target.walk.emplace(*dictionary, which);
        return;
    }
    if (packet.has_fields()) add_table(target, packet.table, nullptr);
    for (const Group& group : packet.body.groups) add_table(target, group.table, &group);
}

void Decoder::Plan::add_table(PacketPlan& target, std::size_t which, const Group* group) const {
    const Packet& packet = *target.packet;
    RowPlan row = make_row_plan(*dictionary, dictionary->tables[which]);
    std::size_t first_byte = kPrimaryHeaderBytes;
    std::size_t stride = 0;
    if (group != nullptr) {
        first_byte += packet.header_bytes + packet.body.segments[0].bits / 8;
        stride = (*group->layout.bits_fixed + 7) / 8;
    }
    const std::size_t count = group != nullptr ? group->count.number : 1;
    const std::size_t last_byte = first_byte + (count - 1) * stride;
    target.tables.push_back({.table = which,
                             .numbers = {std::move(row.numbers), first_byte, packet.bytes_min - last_byte},
                             .texts = std::move(row.texts),
                             .first_byte = first_byte,
                             .stride = stride,
                             .count = count,
                             .first_offset_ms = group != nullptr ? group->first_offset_ms : 0.0,
                             .period_ms = group != nullptr ? group->period_ms : 0.0});
}

void Decoder::Plan::make_room() {
    std::size_t rows_max = 0;
    std::size_t numbers_max = 0;
    std::size_t texts_max = 0;
    std::size_t characters_max = 0;
    for (const PacketPlan& packet : packets) {
        std::size_t row_count = 0;
        std::size_t number_count = 0;
        std::size_t text_count = 0;
        std::size_t character_count = 0;
        for (const TablePlan& table : packet.tables) {
            row_count += table.count;
            number_count += table.count * table.numbers.size();
            text_count += table.count * table.texts.size();
            for (const TextStep& text : table.texts) character_count += table.count * text.size;
        }
        rows_max = std::max(rows_max, row_count);
        numbers_max = std::max(numbers_max, number_count);
        texts_max = std::max(texts_max, text_count);
        characters_max = std::max(characters_max, character_count);
    }
    rows.resize(rows_max);
    marks.resize(rows_max);
    numbers.resize(numbers_max + kSpareNumbers);
    texts.resize(texts_max);
    characters.resize(3 * characters_max); // each byte that is not of its encoding becomes three
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
        const TextStep& step = table.texts[i];
        char* const to = characters.data() + characters_used;
        const std::size_t size = write_text(*step.field, {base + step.byte, step.size}, to);
        characters_used += size;
        out[i] = {to, size};
    }
    texts_used += out.size();
    return out;
}

DecodeVerdict Decoder::Plan::judge(const PacketPlan& plan, const PrimaryHeader& header,
                                   std::span<const std::byte> packet) const noexcept {
    if ((plan.is_telemetry && header.telecommand) || (plan.is_version_0 && header.packet_version_number != 0) ||
        (plan.is_unsegmented && header.sequence_flags != SequenceFlags::unsegmented))
        return DecodeVerdict::not_telemetry;
    if (plan.has_header_flag && !header.secondary_header_flag) return DecodeVerdict::no_time;
    if (kPrimaryHeaderBytes + std::size_t{header.packet_data_length} + 1 != packet.size())
        return DecodeVerdict::wrong_size;
    if (!plan.when.empty()) {
        if (plan.size_of_when > packet.size()) return DecodeVerdict::wrong_size;
        for (const auto& [step, ranges] : plan.when) {
            const auto value = raw_integer(step, packet.data());
            if (!value || std::none_of(ranges->begin(), ranges->end(),
                                       [&](const RawRange& range) { return range.holds(*value); }))
                return DecodeVerdict::no_layout;
        }
    }
    return packet.size() < plan.packet->bytes_min || packet.size() > plan.packet->bytes_max ? DecodeVerdict::wrong_size
                                                                                            : DecodeVerdict::good;
}

bool Decoder::Plan::walk(const PacketPlan& plan, std::span<const std::byte> packet) {
    if (!plan.walk->read(packet, walked)) return false;
    if (rows.size() < walked.rows.size()) rows.resize(walked.rows.size());
    if (texts.size() < walked.texts.size()) texts.resize(walked.texts.size());
    for (std::size_t i = 0; i < walked.texts.size(); ++i)
        texts[i] = {walked.characters.data() + walked.texts[i].at, walked.texts[i].size};
    for (std::size_t i = 0; i < walked.rows.size(); ++i) {
        const WalkedRows::Row& row = walked.rows[i];
        const ChannelTable& about = dictionary->tables[row.table];
        rows[i] = {.table = row.table,
                   .time_offset_ms = row.time_offset_ms,
                   .numbers = {walked.numbers.data() + row.numbers_at, about.number_count},
                   .texts = {texts.data() + row.texts_at, about.text_count},
                   .out_of_range = row.out_of_range};
    }
    rows_used = walked.rows.size();
    return true;
}

void Decoder::Plan::read_time(const Packet& about, std::span<const std::byte> packet,
                              DecodedPacket& decoded) const noexcept {
    if (!about.time) return;
    const auto time_ns = decode_time_ns(about.time->code, packet.subspan(about.time->byte));
    decoded.has_time = time_ns.has_value();
    decoded.onboard_ticks_ns = static_cast<std::uint64_t>(time_ns.value_or(0));
}

DecodedPacket Decoder::decode(std::span<const std::byte> packet) noexcept {
    Plan& plan = *plan_;
    DecodedPacket decoded{DecodeVerdict::wrong_size, 0, 0, 0, false, 0, {}};
    const auto header = decode_primary_header(packet);
    if (!header) return decoded;
    decoded.apid = header->apid;
    decoded.sequence_count = header->sequence_count;
    if (header->apid == kIdleApid) {
        decoded.verdict = DecodeVerdict::idle;
        return decoded;
    }
    const ApidPlan& apid = plan.by_apid[header->apid];
    decoded.verdict = header->telecommand || header->packet_version_number != 0 ||
                              header->sequence_flags != SequenceFlags::unsegmented
                          ? DecodeVerdict::not_telemetry
                          : DecodeVerdict::unknown_apid;
    for (std::size_t i = apid.first; i < std::size_t{apid.first} + apid.count; ++i) {
        const PacketPlan& target = plan.packets[i];
        const DecodeVerdict verdict = plan.judge(target, *header, packet);
        if (verdict != DecodeVerdict::good) {
            // What is said of the layout that came closest: a size that is wrong says more than a value.
            if (i == apid.first || verdict == DecodeVerdict::wrong_size || decoded.verdict != DecodeVerdict::wrong_size)
                decoded.verdict = verdict;
            continue;
        }
        plan.rows_used = plan.numbers_used = plan.texts_used = plan.characters_used = 0;
        if (target.walk) {
            if (!plan.walk(target, packet)) {
                decoded.verdict = DecodeVerdict::wrong_size;
                continue;
            }
        } else {
            for (const TablePlan& table : target.tables) plan.decode_table(table, packet.data());
        }
        decoded.verdict = DecodeVerdict::good;
        decoded.packet = plan.index[i];
        plan.read_time(*target.packet, packet, decoded);
        decoded.rows = {plan.rows.data(), plan.rows_used};
        return decoded;
    }
    return decoded;
}

} // namespace turnstone
