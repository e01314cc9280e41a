// Packets that differ in layout, time code and size pass the pipeline: each row at its time, each packet counted.
#include <catch2/catch.hpp>

#include "tests/pipeline/station.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

PipelineSetup layouts_setup(const std::string& packets) {
    PipelineSetup setup = make_setup(1, {{"radio", "udp://127.0.0.1:1", 0}});
    std::vector<Problem> problems;
    const auto json =
        parse_json_text(R"({"vehicle":"alpha","version":"1","packets":[)" + packets + "]}", "dictionary", problems);
    setup.vehicles[0].dictionary = read_dictionary(json.value(), "dictionary.json", problems);
    INFO(to_string(problems));
    REQUIRE(problems.empty());
    return setup;
}

Bytes framed(const Bytes& packet) {
    Bytes plain = packet;
    put(plain, crc_of(plain), 2);
    Bytes out = stuffed(plain);
    out.push_back(std::byte{0});
    return out;
}

Bytes packet_of(unsigned apid, unsigned sequence_count, bool has_header, const Bytes& data) {
    Bytes packet;
    put(packet, (has_header ? 0x0800U : 0U) | apid, 2);
    put(packet, 0xC000u | (sequence_count & 0x3FFFu), 2);
    put(packet, data.size() - 1, 2);
    packet.insert(packet.end(), data.begin(), data.end());
    return packet;
}

double number(const Pipeline& pipeline, const Batch& batch, const std::string& table_name, const std::string& column) {
    double last = -1;
    for (const RowRecord& row : batch.rows) {
        const Table& table = pipeline.schema().tables[row.table];
        if (table.name != table_name) continue;
        for (std::size_t c = 0; c < table.number_count; ++c)
            if (table.columns[c].name == column) last = batch.numbers_of(row, table)[c];
    }
    return last;
}

} // namespace

TEST_CASE("layouts of one APID share its sequence count, and none of them is lost") {
    const PipelineSetup setup = layouts_setup(
        R"({"apid":5,"name":"a","period_ms":0,"when":{"kind":1},"fields":[{"name":"kind","type":"u8"},{"name":"x","type":"u8"}]},
           {"apid":5,"name":"b","period_ms":0,"fields":[{"name":"kind","type":"u8"},{"name":"rest","type":"octets","octets":"to_end"}]})");
    Pipeline pipeline(setup, kStart_ns);
    Batch batch;
    for (unsigned k = 0; k < 60; ++k) {
        Bytes data;
        put(data, k % 3 == 0 ? 1 : 2, 1);
        put(data, k, 1);
        pipeline.chunk(0, kStart_ns + k * 50 * kNsPerMs, 0, framed(packet_of(5, k, false, data)), batch);
    }
    pipeline.advance(kStart_ns + 5 * kNsPerS, batch);
    CHECK(number(pipeline, batch, "link/radio", "received") == 60);
    CHECK(number(pipeline, batch, "link/radio", "lost") == 0);
    CHECK(number(pipeline, batch, "link/radio", "out_of_order") == 0);
    CHECK(std::ranges::all_of(batch.frames, [](const FrameRecord& frame) {
        return frame.packet_verdict == PacketVerdict::accepted && frame.onboard_ns == -1;
    }));
    for (const RowRecord& row : batch.rows)
        if (row.frame >= 0) CHECK(row.t_ns == row.t_rx_ns); // no time on board: that of its reception
    CHECK(number(pipeline, batch, "alpha/a", "x") == 57);
}

TEST_CASE("packets with time codes of their own are each matched with station time") {
    const PipelineSetup setup = layouts_setup(
        R"({"apid":5,"name":"a","period_ms":100,"time":{"format":"u32_ms"},"fields":[{"name":"x","type":"u8"}]},
           {"apid":6,"name":"b","period_ms":100,"time":{"format":"cds","day_octets":2,"submillisecond_octets":0},"fields":[{"name":"x","type":"u8"}]})");
    Pipeline pipeline(setup, kStart_ns);
    Batch batch;
    for (unsigned k = 0; k < 100; ++k) {
        const std::int64_t sent_ns = kStart_ns + k * 100 * kNsPerMs;
        const std::int64_t delay_ns = (k * 7 % 10) * 5 * kNsPerMs; // what the mapping takes out again
        Bytes a;
        put(a, 5000 + 100 * k, 4);
        put(a, k, 1);
        Bytes b;
        put(b, 25'007, 2); // 2026-06-20
        put(b, 37'800'000 + 100 * k, 4);
        put(b, k, 1);
        pipeline.chunk(0, sent_ns + delay_ns, 0, framed(packet_of(5, k, true, a)), batch);
        pipeline.chunk(0, sent_ns + delay_ns, 0, framed(packet_of(6, k, true, b)), batch);
    }
    int rows = 0;
    for (const RowRecord& row : batch.rows) {
        const Table& table = pipeline.schema().tables[row.table];
        if (table.kind != TableKind::packet) continue;
        const double k = batch.numbers_of(row, table)[0];
        if (k < 50) continue; // the mapping has settled
        ++rows;
        INFO(table.name << " " << k);
        CHECK(std::abs(row.t_ns - (kStart_ns + static_cast<std::int64_t>(k) * 100 * kNsPerMs)) < 2 * kNsPerMs);
    }
    CHECK(rows == 100);
    CHECK(std::ranges::none_of(batch.events, [](const Event& event) {
        return event.id == EventId::reboot || event.id == EventId::clock_jump;
    }));
}

TEST_CASE("the largest packet passes the pipeline, and every byte is accounted for") {
    const PipelineSetup setup = layouts_setup(
        R"({"apid":5,"name":"image","period_ms":0,"fields":[{"name":"pixels","type":"octets","octets":"to_end"}]})");
    Pipeline pipeline(setup, kStart_ns);
    Batch batch;
    Bytes data;
    for (unsigned k = 0; k < 65'536; ++k) put(data, k * 7 + 3, 1);
    const Bytes link = framed(packet_of(5, 0, false, data));
    for (std::size_t at = 0; at < link.size(); at += 1000)
        pipeline.chunk(0, kStart_ns, 0, std::span(link).subspan(at, std::min<std::size_t>(1000, link.size() - at)),
                       batch);
    REQUIRE(batch.frames.size() == 1);
    CHECK(batch.frames[0].packet_verdict == PacketVerdict::accepted);
    CHECK(batch.frames[0].link_bytes == link.size());
    const auto row = std::ranges::find_if(batch.rows, [](const RowRecord& one) { return one.frame == 0; });
    REQUIRE(row != batch.rows.end());
    const std::string& hex = batch.texts_of(*row, pipeline.schema().tables[row->table])[0];
    CHECK(hex.size() == 2 * 65'536);
    CHECK(hex.substr(0, 8) == "030A1118");
}
