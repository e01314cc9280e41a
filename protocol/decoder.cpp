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

/// A load reaches at most this far beyond a field's first octet.
constexpr std::size_t kLoadOctets = 9;

enum class Extract : unsigned char { big, little, wide }; ///< wide: more than 64 bits from the first octet's start
enum class Convert : unsigned char { unsigned_integer, signed_integer, half, single, real };
enum class Calibrate : unsigned char { none, linear, polynomial, table };

/// Everything about one number channel that decoding needs, in one cache line.
struct NumberStep {
    std::uint32_t octet;     ///< of its first bit, from the start of the packet (batch: of the sample)
    unsigned char skip;      ///< bits before it in that octet
    unsigned char width;
    Extract extract;
    Convert convert;
    Calibrate calibrate;
    double gain = 1.0;
    double offset = 0.0;
    double least = 0.0;
    double greatest = 0.0;
    std::uint64_t range_bit = 0; ///< in DecodedRow::out_of_range; 0: no range, or not among the first 64
    const Calibration* calibration = nullptr;
};

struct TextStep {
    std::uint32_t octet;
    std::uint32_t size;
};

struct RowPlan {
    std::size_t table = 0;
    std::vector<NumberStep> numbers;
    std::vector<TextStep> texts;
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

/// The field's bits at the top of a word.
std::uint64_t extract(const NumberStep& step, const std::byte* at) {
    switch (step.extract) {
    case Extract::big:
        return load_big(at) << step.skip;
    case Extract::little:
        return load_little(at) << (64U - step.width);
    case Extract::wide:
        break;
    }
    return load_big(at) << step.skip | std::to_integer<std::uint64_t>(at[8]) >> (8U - step.skip);
}

double convert(const NumberStep& step, std::uint64_t top) {
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

double calibrate(const NumberStep& step, double raw) {
    switch (step.calibrate) {
    case Calibrate::none:
        return raw;
    case Calibrate::linear:
        return step.offset + step.gain * raw;
    case Calibrate::polynomial:
        return at_polynomial(*std::get_if<PolynomialCalibration>(step.calibration), raw);
    case Calibrate::table:
        break;
    }
    return at_table(*std::get_if<TableCalibration>(step.calibration), raw);
}

Convert converter(const Field& field) {
    if (field.type == FieldType::unsigned_integer)
        return Convert::unsigned_integer;
    if (field.type == FieldType::signed_integer)
        return Convert::signed_integer;
    return field.bit_width == 16 ? Convert::half : field.bit_width == 32 ? Convert::single : Convert::real;
}

NumberStep make_number_step(const Field& field, std::uint32_t bit, std::size_t number) {
    NumberStep step{};
    step.octet = bit / 8;
    step.skip = static_cast<unsigned char>(bit % 8);
    step.width = static_cast<unsigned char>(field.bit_width);
    step.extract = field.byte_order == ByteOrder::little    ? Extract::little
                   : step.skip + field.bit_width > 64 ? Extract::wide
                                                      : Extract::big;
    step.convert = converter(field);
    step.gain = 1.0;
    if (const auto* linear = std::get_if<LinearCalibration>(&field.calibration)) {
        step.calibrate = Calibrate::linear;
        step.gain = linear->gain;
        step.offset = linear->offset;
    } else if (std::holds_alternative<PolynomialCalibration>(field.calibration)) {
        step.calibrate = Calibrate::polynomial;
    } else if (std::holds_alternative<TableCalibration>(field.calibration)) {
        step.calibrate = Calibrate::table;
    }
    step.calibration = &field.calibration;
    if (field.valid_range && number < 64) {
        step.least = field.valid_range->first;
        step.greatest = field.valid_range->second;
        step.range_bit = 1ULL << number;
    }
    return step;
}

RowPlan make_row_plan(std::size_t table, const std::vector<Field>& fields, std::uint32_t base_bit) {
    RowPlan plan;
    plan.table = table;
    for (const Field& field : fields) {
        for (unsigned k = 0; k < field.count; ++k) {
            const std::uint32_t bit = base_bit + field.bit_offset + k * field.bit_width;
            if (field.type == FieldType::text)
                plan.texts.push_back({bit / 8, field.bit_width / 8});
            else
                plan.numbers.push_back(make_number_step(field, bit, plan.numbers.size()));
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
    std::array<std::byte, kFrameOctetsMax + kLoadOctets> octets{};
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
            target.batch = make_row_plan(t, packet.batch->fields, 0);
            target.batch_octet = header_octets + packet.batch->bit_offset / 8;
            target.sample_octets = packet.batch->sample_bits / 8;
            target.sample_count = packet.batch->count;
            target.first_offset_ms = packet.batch->first_offset_ms;
            target.period_ms = packet.batch->period_ms;
            row_count = target.sample_count;
        } else {
            target.row = make_row_plan(t, packet.fields, static_cast<std::uint32_t>(8 * header_octets));
        }
        rows_max = std::max(rows_max, rows[table.packet] += row_count);
        numbers_max = std::max(numbers_max, numbers[table.packet] += row_count * table.number_count);
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
    double* const first_number = numbers.data() + numbers_used;
    double* number = first_number;
    std::uint64_t out_of_range = 0;
    for (const NumberStep& step : row.numbers) {
        const double value = calibrate(step, convert(step, extract(step, base + step.octet)));
        *number++ = std::isfinite(value) ? value : std::numeric_limits<double>::quiet_NaN();
        if (step.range_bit != 0 && (value < step.least || value > step.greatest))
            out_of_range |= step.range_bit;
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
    rows[rows_used++] = {row.table, time_offset_ms, {first_number, number}, {first_text, text}, out_of_range};
    numbers_used += row.numbers.size();
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

    // A copy with slack behind it: every field is then one whole-word load, wherever it stands.
    std::memcpy(plan.octets.data(), packet.data(), packet.size());
    plan.rows_used = plan.numbers_used = plan.texts_used = plan.characters_used = 0;
    if (target.row)
        plan.decode_row(*target.row, plan.octets.data(), 0.0);
    for (unsigned k = 0; k < target.sample_count; ++k)
        plan.decode_row(*target.batch, plan.octets.data() + target.batch_octet + k * target.sample_octets,
                        target.first_offset_ms + k * target.period_ms);
    decoded.verdict = DecodeVerdict::good;
    decoded.packet = static_cast<std::size_t>(index);
    decoded.onboard_ticks_ns = decode_time_ns(plan.dictionary->time, packet.subspan(kPrimaryHeaderOctets));
    decoded.rows = {plan.rows.data(), plan.rows_used};
    return decoded;
}

} // namespace turnstone
