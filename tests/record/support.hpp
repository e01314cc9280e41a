#pragma once
/// Hand-made schema and batches: the recorder is tested without a pipeline.
#include <array>
#include <bit>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <filesystem>
#include <limits>
#include <memory>
#include <random>
#include <string>
#include <unistd.h>
#include <vector>

#include "protocol/framing/cobs.hpp"
#include "protocol/framing/crc16.hpp"
#include "protocol/packet/space_packet.hpp"
#include "server/pipeline/batch.hpp"
#include "server/pipeline/station/pipeline.hpp"
#include "server/record/write/recorder.hpp"
#include "tests/support/recorder_settings.hpp"
#include "tests/support/temporary_folder.hpp"

namespace turnstone::record_test {

using test::recorder_settings;
using test::TemporaryFolder;

inline constexpr std::int64_t kStart_ns = 1'779'028'325'000'000'000; // 2026-05-17T14:32:05Z
inline constexpr std::int64_t kMs = 1'000'000;
inline constexpr std::int64_t kLast_ns = std::numeric_limits<std::int64_t>::max(); // the end of any span
inline constexpr double kNan = std::numeric_limits<double>::quiet_NaN();

inline Table make_table(TableId id, const std::string& name, TableKind kind, double period_s,
                        const std::vector<std::string>& numbers, const std::vector<std::string>& texts = {}) {
    Table table;
    table.id = id;
    table.name = name;
    table.title = "Title of " + name;
    table.kind = kind;
    table.vehicle = kind == TableKind::link ? -1 : 0;
    table.period_s = period_s;
    for (const auto* names : {&numbers, &texts}) {
        for (const std::string& column_name : *names) {
            Column column;
            column.name = column_name;
            column.title = "Title of " + column_name;
            column.is_text = names == &texts;
            table.columns.push_back(column);
        }
    }
    table.number_count = numbers.size();
    return table;
}

inline Schema sample_schema() {
    Schema schema;
    schema.tables.push_back(make_table(0, "sanderling/imu", TableKind::packet, 0.001,
                                       {"accel_body_x", "accel_body_y", "accel_body_z", "rate_body_x"}));
    schema.tables.push_back(
        make_table(1, "sanderling/health", TableKind::packet, 0.5, {"battery_voltage", "boot_count"}, {"firmware"}));
    schema.tables.push_back(make_table(2, "sanderling/estimate/vertical", TableKind::estimate, 0.02, {"altitude_m"}));
    schema.tables.push_back(make_table(3, "link/radio", TableKind::link, 0.1, {"bytes"}));
    schema.tables.push_back(make_table(4, "sanderling/ODD.name", TableKind::batch, 0, {"select", "t_ns", "a\"b"}));
    Column& voltage = schema.tables[1].columns[0];
    voltage.description = "Avionics battery";
    voltage.unit = "V";
    voltage.group = "Health";
    voltage.decimals = 3;
    voltage.valid_range = {6.6, 8.6};
    voltage.role = "battery_voltage";
    voltage.sigma_column = "boot_count";
    voltage.low_column = "boot_count";
    voltage.high_column = "battery_voltage";
    voltage.strip_title = "Cells";
    voltage.strip_line = "1";
    schema.tables[1].columns[1].enumeration = {{-1, "unknown"}, {0, "first"}};
    return schema;
}

inline PipelineSetup sample_setup() {
    PipelineSetup setup;
    VehicleSetup vehicle;
    vehicle.dictionary.vehicle = "sanderling";
    vehicle.dictionary_json = R"({"vehicle": "sanderling", "note": "µ, ' and \" stay"})";
    vehicle.vehicle_json = R"({"name": "Sanderling"})";
    setup.vehicles.push_back(std::move(vehicle));
    setup.site_json = R"({"name": "Lantern Flat"})";
    setup.links.push_back({"radio", "serial:/dev/ttyUSB0?baud=57600", 0});
    setup.links.push_back({"backup", "udp://0.0.0.0:9000", 0});
    return setup;
}

/// An input, and what a pipeline made of it.
struct Piece {
    std::shared_ptr<Inputs> inputs = std::make_shared<Inputs>();
    std::shared_ptr<Batch> batch = std::make_shared<Batch>();
    Progress progress = {};
};
inline void push(Recorder& recorder, const Piece& piece) {
    recorder.push(piece.inputs);
    recorder.push(piece.batch, piece.progress);
}

/// Input `input`: a chunk of `octets` random bytes that is one frame, and its row, at kStart_ns + input ms.
class BatchMaker {
  public:
    explicit BatchMaker(std::uint32_t seed = 1) : random_(seed) {}
    Piece next(std::size_t octets = 40) {
        Piece piece;
        Inputs& inputs = *piece.inputs;
        const std::int64_t t_ns = kStart_ns + static_cast<std::int64_t>(input_) * kMs;
        for (std::size_t i = 0; i < octets; ++i) inputs.bytes.push_back(static_cast<std::byte>(random_() & 0xff));
        bytes_.insert(bytes_.end(), inputs.bytes.begin(), inputs.bytes.end());
        inputs.chunks.push_back({input_, 0, t_ns, t_ns + 7, offset_, false, {0, static_cast<std::uint32_t>(octets)}});
        piece.batch->frames.push_back({.t_rx_ns = t_ns,
                                       .stream_offset = offset_,
                                       .link_bytes = static_cast<std::uint32_t>(octets),
                                       .packet_verdict = PacketVerdict::accepted,
                                       .apid = 16,
                                       .sequence_count = static_cast<std::int32_t>(input_ % 16384),
                                       .onboard_ns = static_cast<std::int64_t>(input_) * kMs});
        std::normal_distribution<double> normal;
        std::array<double, 4> values{};
        for (double& value : values) value = normal(random_);
        piece.batch->add_row(imu_, t_ns, t_ns, values, {}, 0);
        offset_ += octets;
        ++input_;
        piece.progress = {input_, t_ns};
        return piece;
    }
    [[nodiscard]] const std::vector<std::byte>& bytes() const { return bytes_; }
    [[nodiscard]] std::uint64_t made() const { return input_; }

  private:
    const Table imu_ = sample_schema().tables[0];
    std::mt19937 random_;
    std::uint64_t input_ = 0;
    std::uint64_t offset_ = 0;
    std::vector<std::byte> bytes_;
};

/// A frame of APID 200: milliseconds since boot, then one big-endian f32.
inline std::vector<std::byte> timed_frame(std::uint16_t count, std::uint32_t time_ms, float value) {
    PrimaryHeader header;
    header.secondary_header_flag = true;
    header.apid = 200;
    header.sequence_count = count;
    header.packet_data_length = 4 + 4 - 1;
    const auto primary = encode_primary_header(header);
    std::vector<std::byte> plain(primary.begin(), primary.end());
    for (const std::uint32_t word : {time_ms, std::bit_cast<std::uint32_t>(value)})
        for (int shift = 24; shift >= 0; shift -= 8) plain.push_back(static_cast<std::byte>(word >> shift));
    const std::uint16_t crc = crc16(plain);
    plain.push_back(static_cast<std::byte>(crc >> 8));
    plain.push_back(static_cast<std::byte>(crc & 0xff));
    std::vector<std::byte> link(plain.size() + cobs_overhead_max(plain.size()));
    link.resize(cobs_encode(plain, link).produced);
    link.push_back(std::byte{0});
    return link;
}

} // namespace turnstone::record_test
