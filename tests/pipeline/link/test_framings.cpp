// Links with other framings through the whole pipeline: sentences, lines and binary frames become rows, fixes reach the
// filters, wind reaches predictions' and its own estimate, every byte has a frame, and replay gives the same bits.
#include <catch2/catch.hpp>

#include <cmath>
#include <cstdio>
#include <set>

#include "protocol/framing/binary_deframer.hpp"
#include "protocol/framing/line_deframer.hpp"
#include "protocol/lines/line_dictionary.hpp"
#include "protocol/nmea/nmea_dictionary.hpp"
#include "protocol/packet/ax25.hpp"
#include "protocol/packet_radio/radio_dictionary.hpp"
#include "protocol/packet_radio/report_encoder.hpp"
#include "protocol/space_link/tm_encoder.hpp"
#include "server/pipeline/link/capture_time.hpp"
#include "server/pipeline/vehicle_texts.hpp"
#include "shared/geodesy.hpp"
#include "tests/pipeline/station.hpp"
#include "tests/support/hex.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

PipelineSetup setup_of(const std::string& dictionary, const std::string& uri) {
    std::vector<Problem> problems;
    PipelineSetup setup;
    auto vehicle = read_vehicle_texts(dictionary, R"({"name": "boat"})", "boat", problems);
    INFO(to_string(problems));
    REQUIRE(vehicle);
    setup.vehicles.push_back(std::move(*vehicle));
    setup.site.name = "Test";
    setup.site.pad = setup.site.station = {40, -118, 1200};
    setup.links = {{"link", uri, 0}};
    return setup;
}

struct Chunk {
    double t_s;
    std::string bytes;
};

/// Chunks at their times, in pieces of at most `piece` bytes.
Batch run(const PipelineSetup& setup, const std::vector<Chunk>& chunks, std::size_t piece = 1u << 20) {
    Pipeline pipeline(setup, kStart_ns);
    Batch out;
    for (const Chunk& chunk : chunks) {
        const auto bytes = std::as_bytes(std::span(chunk.bytes));
        const std::int64_t t_ns = kStart_ns + seconds_to_ns(chunk.t_s);
        for (std::size_t at = 0; at < bytes.size(); at += piece)
            pipeline.chunk(0, t_ns, t_ns, bytes.subspan(at, std::min(piece, bytes.size() - at)), out);
    }
    return out;
}

std::vector<std::vector<double>> rows_of(const PipelineSetup& setup, const Batch& batch, const std::string& table,
                                         const std::vector<std::string>& columns) {
    const Pipeline pipeline(setup, kStart_ns);
    std::vector<std::vector<double>> rows;
    for (const Table& about : pipeline.schema().tables) {
        if (about.name != table) continue;
        for (const RowRecord& row : batch.rows) {
            if (row.table != about.id) continue;
            auto& values = rows.emplace_back();
            for (const std::string& column : columns) {
                const auto at = std::ranges::find(about.columns, column, &Column::name);
                REQUIRE(at != about.columns.end());
                values.push_back(batch.numbers_of(row, about)[static_cast<std::size_t>(at - about.columns.begin())]);
            }
        }
    }
    return rows;
}

/// A receiver 200 m north of the pad, at rest, once a second; kStart_ns is 2026-05-28T20:26:40Z.
std::vector<Chunk> receiver(int seconds) {
    std::vector<Chunk> chunks;
    for (int k = 0; k < seconds; ++k) {
        char time[16];
        std::snprintf(time, sizeof time, "2026%02d.00", 40 + k % 20);
        if (k >= 20) std::snprintf(time, sizeof time, "20%02d%02d.00", 27 + (k - 20) / 60, (k - 20) % 60);
        const std::string place = "4000.10808,N,11800.00000,W";
        chunks.push_back(
            {k + 0.15, encode_sentence("GPGGA," + std::string(time) + "," + place + ",1,09,0.9,1230.0,M,-20.0,M,,") +
                           encode_sentence("GPRMC," + std::string(time) + ",A," + place + ",0.00,,280526,,,A") +
                           encode_sentence("WIMWV,245.0,T,6.0,M,A") + encode_sentence("GPTXT,01,01,02,hello")});
    }
    return chunks;
}

constexpr const char* kNmea = "udp://0.0.0.0:9000?framing=nmea";

} // namespace

TEST_CASE("sentences become fixes that the position estimate takes, and wind with its gusts") {
    const PipelineSetup setup = setup_of(nmea_dictionary_json("boat"), kNmea);
    const Batch batch = run(setup, receiver(40));
    const auto fixes = rows_of(setup, batch, "boat/fix", {"latitude", "height_ellipsoid", "fix_dimensions", "utc"});
    REQUIRE(fixes.size() == 39); // the first may be half of one
    CHECK(fixes.back()[0] == Approx(40.001801333));
    CHECK(fixes.back()[1] == Approx(1210));
    CHECK(fixes.back()[2] == 3);
    CHECK(fixes.back()[3] == Approx(1'780'000'000.0 + 39));
    const auto positions = rows_of(setup, batch, "boat/estimate/navigation", {"north_m"});
    REQUIRE_FALSE(positions.empty());
    CHECK(positions.back()[0] == Approx(200).margin(3));
    const auto wind = rows_of(setup, batch, "boat/estimate/wind", {"mean_mps", "gust_mps", "from_deg"});
    REQUIRE(wind.size() >= 38);
    CHECK(wind.back()[0] == Approx(6));
    CHECK(wind.back()[1] == Approx(6));
    CHECK(wind.back()[2] == Approx(245));
}

TEST_CASE("the same bytes in other pieces give the same rows, and every byte has its frame") {
    const PipelineSetup setup = setup_of(nmea_dictionary_json("boat"), kNmea);
    auto chunks = receiver(20);
    for (std::size_t k = 0; k < chunks.size(); k += 3) chunks[k].bytes.insert(10 * k % 90, "\x01\xFF$");
    const Batch whole = run(setup, chunks);
    CHECK(whole == run(setup, chunks)); // replay
    const Batch split = run(setup, chunks, 7);
    CHECK(whole.frames == split.frames);
    CHECK(whole.rows.size() == split.rows.size());
    std::uint64_t bytes = 0, line_ends = 0, of_frames = 0;
    for (const Chunk& chunk : chunks) {
        bytes += chunk.bytes.size();
        line_ends += static_cast<std::uint64_t>(std::ranges::count(chunk.bytes, '\n'));
    }
    for (const FrameRecord& frame : whole.frames) of_frames += frame.link_bytes;
    CHECK(of_frames + line_ends == bytes); // a line end's second character counts with the frame before it
    const auto verdicts = [&](PacketVerdict verdict) {
        return std::ranges::count(whole.frames, verdict, &FrameRecord::packet_verdict);
    };
    CHECK(verdicts(PacketVerdict::accepted) > 30);
    CHECK(verdicts(PacketVerdict::idle) > 30); // GGA, which waits for RMC, and TXT
    CHECK(verdicts(PacketVerdict::bad_frame) > 5);
    CHECK(verdicts(PacketVerdict::late) + verdicts(PacketVerdict::duplicate) + verdicts(PacketVerdict::undecodable) ==
          0);
}

TEST_CASE("a link without counts loses nothing that anybody could know of") {
    const PipelineSetup setup = setup_of(nmea_dictionary_json("boat"), kNmea);
    auto chunks = receiver(30);
    chunks.erase(chunks.begin() + 10, chunks.begin() + 15);
    const Batch batch = run(setup, chunks);
    for (const auto& row : rows_of(setup, batch, "link/link", {"lost", "duplicates", "out_of_order"}))
        CHECK(row == std::vector<double>{0, 0, 0});
}

TEST_CASE("what two links bring from one receiver counts once") {
    PipelineSetup two = setup_of(nmea_dictionary_json("boat"), kNmea);
    two.links.push_back({"second", "udp://0.0.0.0:9001?framing=nmea", 0});
    // The second is half a second behind, and each lacks seconds that the other has. Wind and place never change.
    const auto chunks = receiver(40);
    Pipeline pipeline(two, kStart_ns);
    Batch out;
    const auto bring = [&](LinkId link, std::size_t second, double late_s) {
        const std::int64_t t_ns = kStart_ns + seconds_to_ns(chunks[second].t_s + late_s);
        pipeline.chunk(link, t_ns, t_ns, std::as_bytes(std::span(chunks[second].bytes)), out);
    };
    std::size_t brought = 0, by_second = 0;
    for (std::size_t k = 0; k < chunks.size(); ++k) {
        const bool first = k < 10 || k >= 15, second = k < 20 || k >= 30;
        brought += first || second;
        by_second += second;
        if (first) bring(0, k, 0);
        if (second) bring(1, k, 0.5);
    }
    CHECK(brought == 40);
    // Wind says the same every second, so that which is a copy of which cannot be told where links take turns: one
    // less.
    const std::size_t winds = rows_of(two, out, "boat/wind", {"wind_speed"}).size();
    CHECK(winds >= 39);
    CHECK(winds <= 40);
    const auto fixes = rows_of(two, out, "boat/fix", {"utc"});
    std::set<double> times;
    for (const auto& fix : fixes) times.insert(fix[0]);
    CHECK(times.size() == 39); // the first may be half of one
    // Where a link was silent, its first fix afterwards may be a part of one, and not a copy.
    CHECK(fixes.size() <= times.size() + 2);
    const auto counts = rows_of(two, out, "link/second", {"duplicates"});
    REQUIRE_FALSE(counts.empty());
    // Of 30 seconds five were its alone, and five times the other's wind was the copy; a row of the table is a second
    // old.
    CHECK(by_second == 30);
    CHECK(counts.back()[0] >= 20 + 20 - 3);
}

TEST_CASE("a capture of sentences at full speed has its times back") {
    const PipelineSetup setup = setup_of(nmea_dictionary_json("boat"), "file:log.nmea?framing=nmea");
    std::string capture;
    for (const Chunk& chunk : receiver(120)) capture += chunk.bytes;
    CaptureTime time(NmeaFraming{}, setup.vehicles[0].dictionary);
    std::int64_t first_ns = 0, last_ns = 0;
    std::size_t handed_on = 0;
    const auto on_piece = [&](std::int64_t t_ns, std::span<const std::byte> bytes) {
        if (first_ns == 0) first_ns = t_ns;
        last_ns = t_ns;
        handed_on += bytes.size();
    };
    time.read(kStart_ns, std::as_bytes(std::span(capture)), on_piece);
    time.end(on_piece);
    CHECK(handed_on == capture.size());
    CHECK(seconds_between(first_ns, last_ns) == Approx(118).margin(1.5));
}

TEST_CASE("lines become rows of their own time") {
    const PipelineSetup setup = setup_of(line_dictionary_json("boat", {{"time_ms"}, {"alt_m"}, {"state", true}}),
                                         "udp://0.0.0.0:9000?framing=text&checksum=xor");
    std::vector<Chunk> chunks = {{0.0, "time_ms,alt_m,state*00\r\n"}};
    for (int k = 0; k < 50; ++k)
        chunks.push_back({0.1 * k, encode_line(std::to_string(1000 + 100 * k) + "," + std::to_string(k) + ",up",
                                               LineChecksum::xor8)});
    chunks.push_back({5.0, encode_line("oops,1,up", LineChecksum::xor8)});
    const Batch batch = run(setup, chunks);
    const auto rows = rows_of(setup, batch, "boat/line", {"time_ms", "alt_m"});
    REQUIRE(rows.size() == 50);
    CHECK(rows.back() == std::vector<double>{5.9, 49});
    CHECK(std::ranges::count(batch.frames, DecodeVerdict::bad_value, &FrameRecord::decode_verdict) == 1);
    CHECK(batch.frames.front().frame_verdict == FrameVerdict::bad_crc);
    CHECK(batch.frames[1].onboard_ns == 1'000'000'000);
}

TEST_CASE("payloads of binary frames become packets, told apart by a field") {
    const std::string dictionary = R"({"vehicle": "boat", "version": "1", "packets": [
        {"apid": 0, "name": "status", "period_ms": 0, "when": {"kind": 1}, "fields": [{"name": "kind", "type": "u8"}, {"name": "volts", "type": "u8"}]},
        {"apid": 0, "name": "motion", "period_ms": 0, "fields": [{"name": "kind", "type": "u8"}, {"name": "x", "type": "i16"}]}]})";
    const PipelineSetup setup =
        setup_of(dictionary, "udp://0.0.0.0:9000?framing=binary&sync=EB90&length=1&crc=CRC-16/ARC");
    BinaryFormat format;
    format.sync = {std::byte{0xEB}, std::byte{0x90}};
    format.length_bytes = 1;
    format.payload_bytes = 255;
    format.crc = crc_kind_from_text("CRC-16/ARC");
    std::vector<Chunk> chunks;
    for (unsigned k = 0; k < 20; ++k) {
        const Bytes payload = k % 2 == 0 ? Bytes{std::byte{1}, static_cast<std::byte>(k)}
                                         : Bytes{std::byte{2}, std::byte{0}, static_cast<std::byte>(k)};
        const Bytes frame = encode_binary_frame(format, payload);
        chunks.push_back({0.1 * k, std::string(reinterpret_cast<const char*>(frame.data()), frame.size()) + "\xEB"});
    }
    const Batch batch = run(setup, chunks);
    const auto status = rows_of(setup, batch, "boat/status", {"volts"});
    const auto motion = rows_of(setup, batch, "boat/motion", {"x"});
    REQUIRE(status.size() == 10);
    REQUIRE(motion.size() == 10);
    CHECK(status.back()[0] == 18);
    CHECK(motion.back()[0] == 19);
}

namespace {

constexpr const char* kCounted = R"({"vehicle": "boat", "version": "1", "packets": [
    {"apid": 5, "name": "status", "period_ms": 100, "fields": [{"name": "volts", "type": "u8"}, {"name": "fill", "type": "u8", "count": 20}]}]})";

/// A packet of that dictionary.
Bytes status(unsigned count) {
    Bytes packet = from_hex("0005C0000014");
    packet.resize(6 + 21);
    packet[3] = static_cast<std::byte>(count);
    packet[6] = static_cast<std::byte>(count);
    return packet;
}

std::string text_of(const Bytes& bytes) {
    return {reinterpret_cast<const char*>(bytes.data()), bytes.size()};
}

} // namespace

TEST_CASE("packets in frames between flags become rows, alone or as payloads of AX.25") {
    for (const auto& [options, format] : std::vector<std::pair<std::string, EscapedFormat>>{
             {"framing=hdlc&fcs=32", {.stuffing = Stuffing::hdlc, .crc = crc_kind_from_text("CRC-32/ISO-HDLC")}},
             {"framing=slip", {.stuffing = Stuffing::slip}},
             {"framing=kiss", {.stuffing = Stuffing::kiss}},
             {"framing=kiss&holds=ax25&apid=5", {.stuffing = Stuffing::kiss, .ax25 = Ax25Head::removed}}}) {
        INFO(options);
        const PipelineSetup setup = setup_of(kCounted, "udp://0.0.0.0:9000?" + options);
        std::vector<Chunk> chunks;
        for (unsigned k = 0; k < 20; ++k) {
            Bytes content = status(k);
            if (format.ax25 == Ax25Head::removed) { // the head of a UI frame, then the packet's content
                const Bytes head = from_hex("82A0B4A496A8E09C60868298987703F0");
                content.erase(content.begin(), content.begin() + 6);
                content.insert(content.begin(), head.begin(), head.end());
            }
            chunks.push_back({0.1 * k, text_of(encode_escaped_frame(format, content))});
        }
        const Batch batch = run(setup, chunks);
        const auto rows = rows_of(setup, batch, "boat/status", {"volts"});
        REQUIRE(rows.size() == 20);
        CHECK(rows.back()[0] == 19);
        CHECK(batch == run(setup, chunks));
    }
}

TEST_CASE("a telemetry stream becomes rows, and its code figures of the link") {
    TmFormat format;
    format.correctable = 16;
    format.interleave = 2;
    format.frame_bytes = 446;
    format.error_control = false;
    const PipelineSetup setup = setup_of(kCounted, "udp://0.0.0.0:9000?framing=tm&code=255-223&interleave=2");
    TmEncoder encoder(format, 9, 0);
    std::vector<Chunk> chunks;
    Bytes link;
    for (unsigned k = 0; k < 200; ++k) encoder.packet(status(k), link);
    encoder.flush(link);
    const std::size_t period = format.period_bits() / 8;
    for (std::size_t k = 0; k < 5; ++k) link[6 * period + 20 + 2 * k] ^= std::byte{1}; // five symbols of one codeword
    for (std::size_t at = 0, k = 0; at < link.size(); at += period, ++k)
        chunks.push_back(
            {0.5 * static_cast<double>(k), text_of({link.begin() + static_cast<std::ptrdiff_t>(at),
                                                    link.begin() + static_cast<std::ptrdiff_t>(at + period)})});
    chunks.push_back({0.5 * static_cast<double>(chunks.size()) + 2, "x"});
    const Batch batch = run(setup, chunks);
    CHECK(rows_of(setup, batch, "boat/status", {"volts"}).size() == 200);
    const auto code = rows_of(setup, batch, "link/link/code", {"corrected", "margin"});
    REQUIRE(code.size() >= 6);
    CHECK(code.back()[0] == 5);
    CHECK(std::ranges::count_if(
              code, [](const auto& row) { return row[1] == 11; }) == 1);
    CHECK(std::ranges::count_if(code, [](const auto& row) { return row[1] == 16; }) >= 4);
    CHECK(std::isnan(code.back()[1]));
    std::uint64_t bytes = 0;
    for (const FrameRecord& frame : batch.frames) bytes += frame.link_bytes;
    CHECK(bytes == link.size());
    CHECK(rows_of(setup, batch, "link/link", {"lost"}).back()[0] == 0);
    CHECK(batch == run(setup, chunks));
}

namespace {

/// Puts a frame of packet radio on a KISS line.
std::string radio_frame(const std::string& source, const std::string& information,
                        const std::string& destination = "APZRKT", const std::vector<std::string>& path = {}) {
    return text_of(
        encode_escaped_frame({.stuffing = Stuffing::kiss}, encode_ax25_ui(destination, source, path, information)));
}

constexpr const char* kRadio = "tcp://127.0.0.1:8001?framing=kiss&holds=aprs&station=N0CALL-11";

/// A tracker that climbs from 100 m north of the pad at 5 m/s and drifts east at 3 m/s, a report every two seconds.
ReportToSend climb(double t_s) {
    const LocalFrame frame({40, -118, 1200});
    const GeodeticPosition at = frame.to_geodetic({3 * t_s, 100, 5 * t_s});
    ReportToSend report;
    report.latitude_deg = at.latitude_deg;
    report.longitude_deg = at.longitude_deg;
    report.height_msl_m = at.height_m;
    report.course_deg = 90;
    report.speed_mps = 3;
    return report;
}

} // namespace

TEST_CASE("a tracker that sends only position reports gets position, track and altitude AGL") {
    for (const auto format : {PositionFormat::uncompressed, PositionFormat::compressed, PositionFormat::mic_e}) {
        INFO(word(format));
        const PipelineSetup setup = setup_of(radio_dictionary_json("boat"), kRadio);
        std::vector<Chunk> chunks;
        for (int k = 0; k < 100; ++k) {
            ReportToSend report = climb(2.0 * k);
            report.format = format;
            const SentReport sent = encode_report(report, "APZRKT");
            chunks.push_back(
                {2.0 * k + 0.3, radio_frame("N0CALL-11", sent.information, sent.destination, {"WIDE2-1"})});
        }
        const Batch batch = run(setup, chunks);
        CHECK(rows_of(setup, batch, "boat/position", {"latitude"}).size() == 100);
        const auto positions = rows_of(setup, batch, "boat/estimate/navigation", {"east_m", "north_m", "up_m"});
        REQUIRE_FALSE(positions.empty());
        // A hundredth of a minute is 18 m.
        CHECK(positions.back()[0] == Approx(3 * 198).margin(20));
        CHECK(positions.back()[1] == Approx(100).margin(20));
        CHECK(positions.back()[2] == Approx(5 * 198).margin(15));
        const auto heights = rows_of(setup, batch, "boat/estimate/vertical", {"altitude_m"});
        REQUIRE_FALSE(heights.empty());
        CHECK(heights.back()[0] == Approx(5 * 198).margin(15));
        CHECK(batch == run(setup, chunks));
        CHECK(batch.frames == run(setup, chunks, 7).frames);
        std::uint64_t bytes = 0, of_frames = 0;
        for (const Chunk& chunk : chunks) bytes += chunk.bytes.size();
        for (const FrameRecord& frame : batch.frames) of_frames += frame.link_bytes;
        CHECK(bytes == of_frames);
    }
}

TEST_CASE("copies by digipeaters and gateways count once, a tracker at rest counts each time, others are counted") {
    const PipelineSetup setup = setup_of(radio_dictionary_json("boat"), kRadio);
    const std::string at_rest = "!4000.05N/11800.00W>/A=003937";
    std::vector<Chunk> chunks;
    for (int k = 0; k < 30; ++k) {
        const double t_s = 10.0 * k;
        chunks.push_back({t_s, radio_frame("N0CALL-11", at_rest, "APZRKT", {"WIDE1-1", "WIDE2-1"})});
        chunks.push_back({t_s + 1.2, radio_frame("N0CALL-11", at_rest, "APZRKT", {"N0HILL*", "WIDE2-1"})});
        chunks.push_back({t_s + 2.4, radio_frame("N0CALL-11", at_rest, "APZRKT", {"N0HILL", "N0PEAK*"})});
        chunks.push_back({t_s + 3, radio_frame("N0GATE", "}N0CALL-11>APZRKT,TCPIP,N0GATE*:" + at_rest, "APRS")});
        chunks.push_back({t_s + 4, radio_frame("N0CALL", "!4001.00N/11801.00W-")});
        chunks.push_back({t_s + 5, radio_frame("N0CALL", "!4001.00N/11801.00W-", "APZRKT", {"N0HILL*"})});
        chunks.push_back({t_s + 5.5, radio_frame("N0OTHER", "!4061.00N/11801.00W-")});
    }
    chunks.push_back({302, radio_frame("N0OTHER", ">end")});
    const Batch batch = run(setup, chunks);
    CHECK(rows_of(setup, batch, "boat/position", {"latitude"}).size() == 30);
    const auto heard = rows_of(setup, batch, "boat/heard", {"latitude", "refused"});
    REQUIRE(heard.size() == 30 * 2 + 1);
    CHECK(std::ranges::count_if(heard, [](const auto& row) { return row[1] != 0; }) == 30);
    CHECK(rows_of(setup, batch, "link/link.position", {"duplicates"}).back()[0] == 90);
    CHECK(rows_of(setup, batch, "link/link.heard", {"received"}).back()[0] == 90); // with the copies
    CHECK(rows_of(setup, batch, "link/link.heard", {"duplicates"}).back()[0] == 30);
    CHECK(rows_of(setup, batch, "link/link", {"lost"}).back()[0] == 0);
    for (const auto& row : rows_of(setup, batch, "boat/position", {"latitude", "height_msl"}))
        CHECK(row[0] == Approx(40 + 0.05 / 60));
}

TEST_CASE("what only digipeaters bring counts once for each time it was said") {
    const PipelineSetup setup = setup_of(radio_dictionary_json("boat"), kRadio);
    std::vector<Chunk> chunks;
    for (int k = 0; k < 10; ++k) {
        const std::string at_rest = "!4000.05N/11800.00W>/A=003937";
        chunks.push_back({40.0 * k, radio_frame("N0CALL-11", at_rest, "APZRKT", {"N0HILL*"})});
        chunks.push_back({40.0 * k + 1, radio_frame("N0CALL-11", at_rest, "APZRKT", {"N0PEAK*"})});
    }
    CHECK(rows_of(setup, run(setup, chunks), "boat/position", {"latitude"}).size() == 10);
    // Two receivers hear one transmission.
    PipelineSetup two = setup_of(radio_dictionary_json("boat"), kRadio);
    two.links.push_back({"second", "tcp://127.0.0.1:8002?framing=kiss&holds=aprs&station=N0CALL-11", 0});
    Pipeline pipeline(two, kStart_ns);
    Batch out;
    for (int k = 0; k < 20; ++k) {
        const std::string frame = radio_frame("N0CALL-11", "!4000.05N/11800.00W>");
        for (const LinkId link : {LinkId{0}, LinkId{1}}) {
            const std::int64_t t_ns = kStart_ns + seconds_to_ns(10.0 * k + 0.5 * link);
            pipeline.chunk(link, t_ns, t_ns, std::as_bytes(std::span(frame)), out);
        }
    }
    CHECK(rows_of(two, out, "boat/position", {"latitude"}).size() == 20);
}
