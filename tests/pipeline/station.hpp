#pragma once
/// A small station for pipeline tests: invented vehicles with packets that carry a serial number, an encoder
/// written from protocol/LINK.md alone, and a channel that loses, repeats, delays and damages frames, and reports what
/// it did.
#include <algorithm>
#include <cstdint>
#include <random>
#include <set>
#include <stdexcept>
#include <string>
#include <utility>
#include <vector>

#include <nlohmann/json.hpp>

#include "server/pipeline/station/pipeline.hpp"
#include "shared/json_reader.hpp"
#include "shared/time.hpp"

namespace turnstone::test {

using Bytes = std::vector<std::byte>;

inline constexpr std::int64_t kStart_ns = 1'780'000'000 * kNsPerS;

/// Packets: "step" (APID 100, every 20 ms: u32 serial, i16 level), "burst" (APID 101, every 50 ms: u32
/// serial, text, batch of four samples) and "seldom" (APID 102, sporadic: u32 serial).
inline std::string dictionary_json(const std::string& vehicle) {
    return R"({"vehicle": ")" + vehicle + R"(", "title": "Test )" + vehicle +
           R"(", "version": "1", "byte_order": "big",
      "time": {"format": "u32_ms"}, "packets": [
      {"apid": 100, "name": "step", "description": "Counted", "period_ms": 20, "fields": [
        {"name": "serial", "type": "u32", "unit": "1", "description": "Serial number", "group": "Test"},
        {"name": "level", "type": "i16", "calibration": {"linear": {"gain": 0.5, "offset": 1}}, "unit": "m",
         "description": "A level", "group": "Test"}]},
      {"apid": 101, "name": "burst", "description": "Batched", "period_ms": 50, "fields": [
        {"name": "serial", "type": "u32", "unit": "1", "description": "Serial number", "group": "Test"},
        {"name": "word", "type": "text", "octets": 4, "unit": "1", "description": "A word", "group": "Test"}],
       "batch": {"name": "samples", "count": 4, "period_ms": 10, "first_offset_ms": -30, "fields": [
        {"name": "value", "type": "i16", "unit": "1", "description": "A value", "group": "Test"}]}},
      {"apid": 102, "name": "seldom", "description": "Sporadic", "period_ms": 0, "fields": [
        {"name": "serial", "type": "u32", "unit": "1", "description": "Serial number", "group": "Test"}]}]})";
}

inline PipelineSetup make_setup(std::size_t vehicles, std::vector<LinkSetup> links) {
    std::vector<Problem> problems;
    PipelineSetup setup;
    for (std::size_t v = 0; v < vehicles; ++v) {
        VehicleSetup vehicle;
        vehicle.dictionary_json = dictionary_json(v == 0 ? "alpha" : "beta");
        vehicle.vehicle_json = R"({"name": "test"})";
        vehicle.dictionary = read_dictionary(*parse_json_text(vehicle.dictionary_json, "dictionary.json", problems),
                                             "dictionary.json", problems);
        vehicle.vehicle =
            read_vehicle(*parse_json_text(vehicle.vehicle_json, "vehicle.json", problems), "vehicle.json", problems);
        setup.vehicles.push_back(std::move(vehicle));
    }
    setup.site.name = "Test";
    setup.site.pad = setup.site.station = {40, -118, 1200};
    setup.links = std::move(links);
    if (!problems.empty()) throw std::runtime_error(to_string(problems));
    return setup;
}

/// CRC-16/IBM-3740, bit by bit from its parameters: polynomial 0x1021, initial 0xFFFF, nothing reflected.
inline std::uint16_t crc_of(const Bytes& bytes) {
    unsigned crc = 0xFFFF;
    for (const std::byte byte : bytes) {
        crc ^= std::to_integer<unsigned>(byte) << 8;
        for (int bit = 0; bit < 8; ++bit) crc = (crc & 0x8000u) ? (crc << 1 ^ 0x1021u) : crc << 1;
        crc &= 0xFFFFu;
    }
    return static_cast<std::uint16_t>(crc);
}

/// COBS from the definition: a code byte in place of each zero says how far the next one is.
inline Bytes stuffed(const Bytes& plain) {
    Bytes out{std::byte{0}};
    std::size_t code_at = 0;
    unsigned code = 1;
    for (const std::byte byte : plain) {
        if (byte != std::byte{0}) {
            out.push_back(byte);
            ++code;
        }
        if (byte == std::byte{0} || code == 255) {
            out[code_at] = static_cast<std::byte>(code);
            code_at = out.size();
            out.push_back(std::byte{0});
            code = 1;
        }
    }
    out[code_at] = static_cast<std::byte>(code);
    return out;
}

inline void put(Bytes& out, std::uint64_t value, unsigned bytes) {
    for (unsigned k = bytes; k-- > 0;) out.push_back(static_cast<std::byte>(value >> (8 * k) & 0xFFu));
}

/// Primary header (CCSDS 133.0-B-2, 4.1.3), time, user data, checksum, stuffing, delimiter.
inline Bytes frame(unsigned apid, unsigned sequence_count, std::uint32_t time_ms, const Bytes& user_data) {
    Bytes packet;
    put(packet, 0x0800u | apid, 2);
    put(packet, 0xC000u | (sequence_count & 0x3FFFu), 2);
    put(packet, 4 + user_data.size() - 1, 2); // the checksum is not counted (LINK.md)
    put(packet, time_ms, 4);
    packet.insert(packet.end(), user_data.begin(), user_data.end());
    put(packet, crc_of(packet), 2);
    Bytes out = stuffed(packet);
    out.push_back(std::byte{0});
    return out;
}

enum class Kind : unsigned { step, burst, seldom };

inline Bytes user_data(Kind kind, std::uint32_t serial) {
    Bytes data;
    put(data, serial, 4);
    if (kind == Kind::step) put(data, serial * 7919u & 0xFFFFu, 2);
    if (kind == Kind::burst) {
        for (const char letter : {'w', 'o', 'r', 'd'}) data.push_back(static_cast<std::byte>(letter));
        for (unsigned k = 0; k < 4; ++k) put(data, (serial + k) & 0x7FFFu, 2);
    }
    return data;
}

/// A packet as the vehicle sent it.
struct Sent {
    Kind kind;
    unsigned sequence_count; ///< not wrapped
    std::uint32_t serial;    ///< unique
    std::int64_t t_ns;       ///< station time of sending
    Bytes bytes;
};

/// Sends all three kinds of packets from `t_from_ns` for `duration_ns`; the on-board clock starts at
/// `onboard_ms`, counts at `first_count`, serial numbers go on from the last.
inline void send(std::vector<Sent>& out, std::int64_t t_from_ns, std::int64_t duration_ns, std::uint32_t onboard_ms,
                 unsigned first_count) {
    std::uint32_t serial = out.empty() ? 0 : out.back().serial + 1;
    unsigned counts[3] = {first_count, first_count, first_count};
    for (std::int64_t ms = 0; ms * kNsPerMs < duration_ns; ms += 10) {
        const auto emit = [&](Kind kind) {
            const unsigned count = counts[static_cast<unsigned>(kind)]++;
            out.push_back({kind, count, serial, t_from_ns + ms * kNsPerMs,
                           frame(100 + static_cast<unsigned>(kind), count, onboard_ms + static_cast<std::uint32_t>(ms),
                                 user_data(kind, serial))});
            ++serial;
        };
        if (ms % 20 == 0) emit(Kind::step);
        if (ms % 50 == 0) emit(Kind::burst);
        if (ms % 1370 == 0) emit(Kind::seldom);
    }
}

struct Impairment {
    double loss = 0, duplicate = 0, hold_back = 0, bit_error = 0; ///< per frame
    std::int64_t delay_ns = 20 * kNsPerMs;
};

/// What a link delivered: bytes with times, and which packets among them are whole.
struct Delivery {
    std::int64_t t_ns;
    LinkId link;
    Bytes bytes;
};
struct Transmission {
    std::vector<Delivery> deliveries; ///< in order of time
    std::vector<std::size_t> whole;   ///< index into the sent packets, in order of arrival, repetitions included
    std::size_t damaged = 0;          ///< deliveries with a flipped bit
};

inline Transmission transmit(const std::vector<Sent>& sent, LinkId link, const Impairment& settings,
                             std::uint64_t seed) {
    std::mt19937_64 random(seed);
    std::uniform_real_distribution<double> chance(0, 1);
    struct Item {
        std::int64_t t_ns;
        std::size_t packet;
    };
    std::vector<Item> items;
    for (std::size_t k = 0; k < sent.size(); ++k) {
        const auto jitter = [&] { return seconds_to_ns(0.005 * chance(random)); };
        const std::int64_t t_ns = sent[k].t_ns + settings.delay_ns + jitter();
        if (chance(random) < settings.loss) continue;
        const std::int64_t held_ns = chance(random) < settings.hold_back ? seconds_to_ns(0.25 * chance(random)) : 0;
        items.push_back({t_ns + held_ns, k});
        if (chance(random) < settings.duplicate)
            items.push_back({t_ns + held_ns + seconds_to_ns(0.2 * chance(random)), k});
    }
    std::stable_sort(items.begin(), items.end(), [](const Item& a, const Item& b) { return a.t_ns < b.t_ns; });
    Transmission out;
    bool delimiter_lost = false; ///< of the frame before: this one then runs together with it
    for (const Item& item : items) {
        Delivery delivery{item.t_ns, link, sent[item.packet].bytes};
        bool whole = !delimiter_lost;
        delimiter_lost = false;
        if (chance(random) < settings.bit_error) {
            const std::size_t at = static_cast<std::size_t>(random() % delivery.bytes.size());
            delivery.bytes[at] ^= static_cast<std::byte>(1u << random() % 8);
            delimiter_lost = at + 1 == delivery.bytes.size();
            whole = false;
            ++out.damaged;
        }
        if (whole) out.whole.push_back(item.packet);
        out.deliveries.push_back(std::move(delivery));
    }
    return out;
}

inline std::vector<Delivery> in_order(std::vector<Transmission> channels) {
    std::vector<Delivery> all;
    for (Transmission& channel : channels)
        for (Delivery& delivery : channel.deliveries) all.push_back(std::move(delivery));
    std::stable_sort(all.begin(), all.end(), [](const Delivery& a, const Delivery& b) { return a.t_ns < b.t_ns; });
    return all;
}

inline const Table& table_named(const Schema& schema, const std::string& name) {
    for (const Table& table : schema.tables)
        if (table.name == name) return table;
    throw std::runtime_error("no table " + name);
}

/// Value of a column in the newest row of a table; throws when there is none.
inline double newest(const Batch& batch, const Schema& schema, const std::string& table_name,
                     const std::string& column) {
    const Table& table = table_named(schema, table_name);
    std::size_t at = 0;
    while (at < table.columns.size() && table.columns[at].name != column) ++at;
    for (auto row = batch.rows.rbegin(); row != batch.rows.rend(); ++row)
        if (row->table == table.id) return batch.numbers_of(*row, table)[at];
    throw std::runtime_error("no row in " + table_name);
}

} // namespace turnstone::test
