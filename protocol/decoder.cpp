#include "protocol/decoder.hpp"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <cstring>
#include <limits>

#include "protocol/deframer.hpp"
#include "protocol/half.hpp"
#include "protocol/space_packet.hpp"
#include "protocol/time_code.hpp"
#include "protocol/utf8.hpp"

namespace turnstone {
namespace {

static_assert(std::endian::native == std::endian::little, "the loads below swap octets for a little-endian machine");

/// Loads are of eight octets. A field closer than that to the end of the packet is loaded from earlier on and shifted
/// further, so that nothing behind the packet is touched; header and time leave room for that in front of every field.
constexpr std::size_t kLoadOctets = 8;

/// An integer that one load holds: ((load >> right) & mask), sign extended, as a double in its slot.
struct IntegerStep {
    std::int32_t octet; ///< of the load, from the start of the packet (batch: of the sample); may lie before it
    std::uint16_t slot;
    std::uint16_t right;
    std::uint64_t mask;
    std::uint64_t sign; ///< the sign bit; 0: unsigned
};

enum class Convert : unsigned char { unsigned_integer, signed_integer, half, single, real };

/// Any other number: floating point, 64 bits unsigned, and fields that span nine octets.
struct OtherStep {
    std::uint32_t octet; ///< of its first bit
    unsigned char skip;  ///< bits before it in that octet
    unsigned char width;
    bool little;
    Convert convert;
    std::uint16_t slot;
};

/// A calibration that is no straight line.
struct CurveStep {
    std::uint16_t slot;
    const Calibration* calibration;
};

/// Two channels at a time. Without calibration the offset is -0.0, which leaves every value as it is, zeros' signs too.
using Pair = double __attribute__((vector_size(16)));

struct PairStep {
    Pair gain = {1.0, 1.0};
    Pair offset = {-0.0, -0.0};
    Pair least = {-std::numeric_limits<double>::infinity(), -std::numeric_limits<double>::infinity()};
    Pair greatest = {std::numeric_limits<double>::infinity(), std::numeric_limits<double>::infinity()};
};

struct TextStep {
    std::uint32_t octet;
    std::uint32_t size;
};

struct RowPlan {
    std::size_t table = 0;
    std::size_t number_count = 0;
    std::vector<IntegerStep> big;
    std::vector<IntegerStep> little;
    std::vector<OtherStep> others;
    std::vector<CurveStep> curves;
    std::vector<PairStep> pairs;
    std::vector<TextStep> texts;
    bool may_overflow = false; ///< a value can be infinite or no number
};

/// Where a row's fields stand.
struct Place {
    std::size_t first_octet;  ///< of the row's bit 0, from the start of the packet; for a batch of the last sample
    std::size_t base_octet;   ///< what steps count from: 0, or for a batch the sample's start
    std::size_t packet_octets;
};

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

std::uint64_t load_little(const std::byte* at) {
    std::uint64_t value = 0;
    std::memcpy(&value, at, sizeof value);
    return value;
}

std::uint64_t load_big(const std::byte* at) { return __builtin_bswap64(load_little(at)); }

/// The field's bits at the top of a word, octet by octet: it may be nine octets long, or end with the packet.
std::uint64_t gather(const OtherStep& step, const std::byte* at) {
    std::uint64_t word = 0;
    if (step.little) {
        for (unsigned i = step.width / 8U; i-- > 0;)
            word = word << 8U | std::to_integer<std::uint64_t>(at[i]);
        return word << (64U - step.width);
    }
    const unsigned end = step.skip + step.width;
    for (unsigned i = 0; 8 * i < end && i < 8; ++i)
        word |= std::to_integer<std::uint64_t>(at[i]) << (56U - 8U * i);
    word <<= step.skip;
    return end > 64 ? word | std::to_integer<std::uint64_t>(at[8]) >> (8U - step.skip) : word;
}

double convert(const OtherStep& step, std::uint64_t top) {
    const unsigned shift = 64U - step.width;
    switch (step.convert) {
    case Convert::unsigned_integer:
        return static_cast<double>(top >> shift);
    case Convert::signed_integer:
        return static_cast<double>(static_cast<std::int64_t>(top) >> shift);
    case Convert::half:
        return half_to_double(static_cast<std::uint16_t>(top >> 48U));
    case Convert::single:
        return static_cast<double>(std::bit_cast<float>(static_cast<std::uint32_t>(top >> 32U)));
    case Convert::real:
        break;
    }
    return std::bit_cast<double>(top);
}

double at_polynomial(const PolynomialCalibration& polynomial, double raw) {
    double sum = 0.0;
    for (std::size_t i = polynomial.coefficients.size(); i-- > 0;)
        sum = sum * raw + polynomial.coefficients[i];
    return sum;
}

double at_table(const TableCalibration& table, double raw) {
    const auto above = std::upper_bound(table.raw.begin() + 1, table.raw.end() - 1, raw);
    const auto i = static_cast<std::size_t>(above - table.raw.begin());
    const double slope = (table.engineering[i] - table.engineering[i - 1]) / (table.raw[i] - table.raw[i - 1]);
    return table.engineering[i - 1] + slope * (raw - table.raw[i - 1]);
}

double at_curve(const Calibration& calibration, double raw) {
    if (const auto* polynomial = std::get_if<PolynomialCalibration>(&calibration))
        return at_polynomial(*polynomial, raw);
    return at_table(*std::get_if<TableCalibration>(&calibration), raw);
}

Convert converter(const Field& field) {
    if (field.type == FieldType::unsigned_integer)
        return Convert::unsigned_integer;
    if (field.type == FieldType::signed_integer)
        return Convert::signed_integer;
    return field.bit_width == 16 ? Convert::half : field.bit_width == 32 ? Convert::single : Convert::real;
}

void add_extraction(RowPlan& plan, const Field& field, std::uint32_t bit, const Place& place) {
    const auto slot = static_cast<std::uint16_t>(plan.number_count);
    const unsigned width = field.bit_width;
    const unsigned skip = bit % 8;
    const bool little = field.byte_order == ByteOrder::little;
    const bool is_signed = field.type == FieldType::signed_integer;
    if (field.type == FieldType::ieee754 || skip + width > 64 || (width == 64 && !is_signed)) {
        plan.others.push_back({static_cast<std::uint32_t>(place.first_octet - place.base_octet) + bit / 8,
                               static_cast<unsigned char>(skip), static_cast<unsigned char>(width), little,
                               converter(field), slot});
        return;
    }
    const std::size_t octet = place.first_octet + bit / 8;
    const std::size_t back = octet + kLoadOctets > place.packet_octets ? octet + kLoadOctets - place.packet_octets : 0;
    IntegerStep step{};
    step.octet = static_cast<std::int32_t>(octet - place.base_octet) - static_cast<std::int32_t>(back);
    step.slot = slot;
    step.right = static_cast<std::uint16_t>(little ? 8 * back : 64 - skip - width - 8 * back);
    step.mask = width == 64 ? ~0ULL : (1ULL << width) - 1;
    step.sign = is_signed ? 1ULL << (width - 1) : 0;
    (little ? plan.little : plan.big).push_back(step);
}

void add_number(RowPlan& plan, const Field& field, std::uint32_t bit, const Place& place) {
    add_extraction(plan, field, bit, place);
    const std::size_t lane = plan.number_count % 2;
    if (lane == 0)
        plan.pairs.emplace_back();
    PairStep& pair = plan.pairs.back();
    if (const auto* linear = std::get_if<LinearCalibration>(&field.calibration)) {
        pair.gain[lane] = linear->gain;
        pair.offset[lane] = linear->offset;
    } else if (!std::holds_alternative<std::monostate>(field.calibration)) {
        plan.curves.push_back({static_cast<std::uint16_t>(plan.number_count), &field.calibration});
        plan.may_overflow = true;
    }
    if (field.valid_range && plan.number_count < 64) {
        pair.least[lane] = field.valid_range->first;
        pair.greatest[lane] = field.valid_range->second;
    }
    const double greatest_raw = std::ldexp(1.0, static_cast<int>(field.bit_width));
    if (field.type == FieldType::ieee754 ||
        !std::isfinite(std::abs(pair.gain[lane]) * greatest_raw + std::abs(pair.offset[lane])))
        plan.may_overflow = true;
    ++plan.number_count;
}

RowPlan make_row_plan(std::size_t table, const std::vector<Field>& fields, const Place& place) {
    RowPlan plan;
    plan.table = table;
    for (const Field& field : fields) {
        for (unsigned k = 0; k < field.count; ++k) {
            const std::uint32_t bit = field.bit_offset + k * field.bit_width;
            if (field.type == FieldType::text)
                plan.texts.push_back({static_cast<std::uint32_t>(place.first_octet - place.base_octet) + bit / 8,
                                      field.bit_width / 8});
            else
                add_number(plan, field, bit, place);
        }
    }
    return plan;
}

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

    void decode_row(const RowPlan& row, const std::byte* base, double time_offset_ms) noexcept;
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
        numbers_max = std::max(numbers_max, numbers[table.packet] += row_count * (table.number_count + 1));
        texts_max = std::max(texts_max, texts[table.packet] += row_count * table.text_count);
    }
    plan.rows.resize(rows_max);
    plan.numbers.resize(numbers_max);
    plan.texts.resize(texts_max);
    plan.characters.resize(3 * kFrameOctetsMax); // an octet that is not UTF-8 becomes three
}

Decoder::Decoder(Decoder&&) noexcept = default;
Decoder::~Decoder() = default;

void Decoder::Plan::decode_row(const RowPlan& row, const std::byte* base, double time_offset_ms) noexcept {
    double* const values = numbers.data() + numbers_used;
    for (const IntegerStep& step : row.big) {
        const std::uint64_t raw = (load_big(base + step.octet) >> step.right) & step.mask;
        values[step.slot] = static_cast<double>(static_cast<std::int64_t>((raw ^ step.sign) - step.sign));
    }
    for (const IntegerStep& step : row.little) {
        const std::uint64_t raw = (load_little(base + step.octet) >> step.right) & step.mask;
        values[step.slot] = static_cast<double>(static_cast<std::int64_t>((raw ^ step.sign) - step.sign));
    }
    for (const OtherStep& step : row.others)
        values[step.slot] = convert(step, gather(step, base + step.octet));
    for (const CurveStep& step : row.curves)
        values[step.slot] = at_curve(*step.calibration, values[step.slot]);

    std::uint64_t out_of_range = 0;
    for (std::size_t i = 0; i < row.pairs.size(); ++i) {
        const PairStep& step = row.pairs[i];
        Pair value;
        std::memcpy(&value, values + 2 * i, sizeof value);
        value = step.offset + step.gain * value;
        std::memcpy(values + 2 * i, &value, sizeof value);
        const auto outside = (value < step.least) | (value > step.greatest);
        if (i < 32)
            out_of_range |= static_cast<std::uint64_t>((outside[0] & 1) | (outside[1] & 2)) << (2 * i);
    }
    if (row.may_overflow) {
        for (std::size_t i = 0; i < row.number_count; ++i)
            if (!std::isfinite(values[i]))
                values[i] = std::numeric_limits<double>::quiet_NaN();
    }
    std::string_view* const first_text = texts.data() + texts_used;
    std::string_view* text = first_text;
    for (const TextStep& step : row.texts) {
        const std::byte* const begin = base + step.octet;
        const std::byte* const end = std::find(begin, begin + step.size, std::byte{0});
        char* const to = characters.data() + characters_used;
        const std::size_t size = to_valid_utf8({begin, end}, to);
        characters_used += size;
        *text++ = {to, size};
    }
    rows[rows_used++] = {row.table, time_offset_ms, {values, row.number_count}, {first_text, text}, out_of_range};
    numbers_used += 2 * row.pairs.size(); // the last pair may be half empty
    texts_used += row.texts.size();
}

DecodedPacket Decoder::decode(std::span<const std::byte> packet) noexcept {
    Plan& plan = *plan_;
    DecodedPacket decoded{DecodeVerdict::wrong_size, 0, 0, 0, 0, {}};
    const auto header = decode_primary_header(packet);
    if (!header)
        return decoded;
    decoded.apid = header->apid;
    decoded.sequence_count = header->sequence_count;
    const auto refuse = [&](DecodeVerdict verdict) {
        decoded.verdict = verdict;
        return decoded;
    };
    if (header->apid == kIdleApid)
        return refuse(DecodeVerdict::idle);
    if (header->telecommand || header->packet_version_number != 0 ||
        header->sequence_flags != SequenceFlags::unsegmented)
        return refuse(DecodeVerdict::not_telemetry);
    const std::int16_t index = plan.by_apid[header->apid];
    if (index == kNoPlan)
        return refuse(DecodeVerdict::unknown_apid);
    if (!header->secondary_header_flag)
        return refuse(DecodeVerdict::no_time);
    const PacketPlan& target = plan.packets[static_cast<std::size_t>(index)];
    if (packet.size() != target.packet_octets ||
        kPrimaryHeaderOctets + std::size_t{header->packet_data_length} + 1 != packet.size())
        return refuse(DecodeVerdict::wrong_size);

    plan.rows_used = plan.numbers_used = plan.texts_used = plan.characters_used = 0;
    if (target.row)
        plan.decode_row(*target.row, packet.data(), 0.0);
    for (unsigned k = 0; k < target.sample_count; ++k)
        plan.decode_row(*target.batch, packet.data() + target.batch_octet + k * target.sample_octets,
                        target.first_offset_ms + k * target.period_ms);
    decoded.verdict = DecodeVerdict::good;
    decoded.packet = static_cast<std::size_t>(index);
    decoded.onboard_ticks_ns = decode_time_ns(plan.dictionary->time, packet.subspan(kPrimaryHeaderOctets));
    decoded.rows = {plan.rows.data(), plan.rows_used};
    return decoded;
}

} // namespace turnstone
