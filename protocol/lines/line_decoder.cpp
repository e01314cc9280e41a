#include "protocol/lines/line_decoder.hpp"

#include <algorithm>
#include <cmath>

#include "protocol/packet/space_packet.hpp"
#include "protocol/packet/time_code.hpp"
#include "protocol/text/column_name.hpp"
#include "shared/constants.hpp"

namespace turnstone {
namespace {

const Packet* packet_of(const Dictionary& dictionary, const std::string& name) {
    if (name.empty()) return dictionary.packets.empty() ? nullptr : &dictionary.packets.front();
    const auto packet = std::ranges::find(dictionary.packets, name, &Packet::name);
    return packet == dictionary.packets.end() ? nullptr : &*packet;
}

/// Every field is one column of its table.
bool is_line(const Packet& packet) {
    return packet.body.groups.empty() && packet.header.fields.empty() && !packet.body.fields.empty() &&
           std::ranges::all_of(
               packet.body.fields,
               [](const Field& field) {
                   return field.count == 1 && !field.is_part && field.words.empty() &&
                          field.calibration_slot == kNoSlot;
               });
}

/// Nanoseconds since the clock's zero of seconds in a line.
std::optional<std::uint64_t> ticks_ns(double seconds) noexcept {
    constexpr double kMost_s = 9e9; // what 63 bits of nanoseconds hold
    if (!(seconds >= 0) || seconds > kMost_s) return std::nullopt;
    const double whole_s = std::floor(seconds);
    return static_cast<std::uint64_t>(whole_s) * 1'000'000'000U +
           static_cast<std::uint64_t>(std::llround((seconds - whole_s) * 1e9));
}

} // namespace

void check_line_dictionary(const Dictionary& dictionary, const std::string& packet, const std::string& file,
                           std::vector<Problem>& problems) {
    const Packet* about = packet_of(dictionary, packet);
    if (about == nullptr) {
        problems.push_back({file, "/packets", "has no packet \"" + packet + "\", which the lines of a link are",
                            "give packet= of the link the name of one of them"});
    } else if (!is_line(*about)) {
        problems.push_back({file, "/packets",
                            "\"" + about->name +
                                "\" has groups, arrays, shared bits or words beside "
                                "its fields, and the lines of a link have none",
                            "give it one field for each column, or name another with packet="});
    }
}

LineDecoder::LineDecoder(const Dictionary& dictionary, const std::string& packet, char separator, char decimal)
    : dictionary_(&dictionary), separator_(separator), decimal_(decimal) {
    const Packet* about = packet_of(dictionary, packet);
    if (about == nullptr || !is_line(*about)) return;
    packet_ = static_cast<std::size_t>(about - dictionary.packets.data());
    const std::size_t time_byte = about->time ? about->time->byte : 0;
    for (const Field& field : about->body.fields) {
        const bool is_integer = field.type == FieldType::unsigned_integer || field.type == FieldType::signed_integer;
        const Kind kind = field.is_text()                 ? Kind::text
                          : field.type == FieldType::time ? Kind::time
                          : is_integer                    ? Kind::integer
                                                          : Kind::number;
        const bool is_time = kind == Kind::time && about->time &&
                             time_byte == kPrimaryHeaderBytes + about->header_bytes + field.bit_offset / 8;
        order_.push_back(static_cast<std::int16_t>(fields_.size()));
        fields_.push_back({kind, fields_.size(), is_time, field.time});
        names_.push_back(field.name);
    }
    columns_ = order_.size();
    order_.resize(kLineValuesMax, -1);
    row_ = NamedRow(dictionary, about->table, names_);
}

DecodedPacket LineDecoder::result(DecodeVerdict verdict) const noexcept {
    DecodedPacket out{verdict, packet_.value_or(0), kIdleApid, 0, false, 0, {}};
    if (packet_ && verdict != DecodeVerdict::unused) out.apid = dictionary_->packets[*packet_].apid;
    out.is_counted = false;
    return out;
}

bool LineDecoder::take_header(std::span<const std::string_view> values) noexcept {
    const auto known = [&](std::string_view value) {
        return std::ranges::find_if(names_, [&](std::string_view name) { return is_column_name(value, name); });
    };
    // Of most lines the first value is a number.
    for (const std::string_view value : values)
        if (line_number(value, decimal_)) return false;
    const auto is_known = [&](std::string_view value) { return known(value) != names_.end(); };
    if (std::ranges::none_of(values, is_known)) return false;
    columns_ = values.size();
    for (std::size_t k = 0; k < columns_; ++k) {
        const auto field = known(values[k]);
        order_[k] = field == names_.end() ? std::int16_t{-1} : static_cast<std::int16_t>(field - names_.begin());
    }
    return true;
}

DecodedPacket LineDecoder::decode(std::span<const std::byte> line) noexcept {
    if (!packet_) return result(DecodeVerdict::no_layout);
    if (!line.empty() && line[0] == std::byte{'#'}) return result(DecodeVerdict::unused);
    if (!values_.split(line, separator_)) return result(DecodeVerdict::bad_value);
    const auto values = values_.values();
    if (take_header(values)) return result(DecodeVerdict::unused);
    if (values.size() != columns_) return result(DecodeVerdict::wrong_size);
    row_.clear();
    std::optional<std::uint64_t> time_ns;
    for (std::size_t k = 0; k < values.size(); ++k) {
        if (order_[k] < 0) continue;
        const Column& field = fields_[static_cast<std::size_t>(order_[k])];
        if (field.kind == Kind::text) {
            row_.set(field.place, values[k]);
            continue;
        }
        const auto number = field.kind == Kind::integer ? line_integer(values[k]) : line_number(values[k], decimal_);
        if (!number) return result(DecodeVerdict::bad_value);
        if (!number->value) continue;
        double value = *number->value;
        if (field.kind == Kind::time) {
            // A clock that counts parts of a second alone is written in those: milliseconds.
            if (field.code.coarse_bytes == 0) value /= static_cast<double>(field.code.fine_hz);
            const auto ticks = ticks_ns(value);
            if (!ticks) return result(DecodeVerdict::bad_value);
            if (field.is_time) time_ns = ticks;
            if (const auto utc_ns = utc_ns_of(field.code, static_cast<std::int64_t>(*ticks)))
                value = static_cast<double>(*utc_ns) * 1e-9;
        }
        row_.set(field.place, value);
    }
    decoded_ = row_.row();
    DecodedPacket out = result(DecodeVerdict::good);
    out.sequence_count = count_;
    count_ = static_cast<std::uint16_t>((count_ + 1U) % kSequenceModulus);
    out.has_time = time_ns.has_value();
    out.onboard_ticks_ns = time_ns.value_or(0);
    out.rows = {&decoded_, 1};
    return out;
}

} // namespace turnstone
