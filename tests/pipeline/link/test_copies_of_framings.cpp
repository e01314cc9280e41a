// Receivers of one vehicle whose links are framed otherwise than by COBS: what is shown against what was sent, and how
// much of it against closed forms derived here.
#include <catch2/catch.hpp>

#include <cmath>
#include <functional>
#include <map>
#include <memory>

#include "protocol/framing/binary_deframer.hpp"
#include "protocol/framing/escaped_deframer.hpp"
#include "protocol/space_link/tm_encoder.hpp"
#include "server/pipeline/vehicle_texts.hpp"
#include "tests/pipeline/link/bit_errors.hpp"
#include "tests/pipeline/station.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

constexpr std::int64_t kPeriodNs = 50 * kNsPerMs;
constexpr unsigned kValues = 10;
const std::string kSize = "octets";

/// One packet, APID 7: a serial number and ten random ones.
PipelineSetup receivers_of(std::size_t links, const std::string& options) {
    std::string fields;
    for (unsigned k = 0; k < kValues; ++k)
        fields +=
            R"(, {"name": "v)" + std::to_string(k) + R"(", "type": "u32", "unit": "1", "description": "A value"})";
    const std::string dictionary =
        R"({"vehicle": "alpha", "title": "Test", "version": "1", "byte_order": "big", "time": {"format": "u32_ms"},
        "packets": [{"apid": 7, "name": "step", "description": "Counted", "period_ms": 50, "fields": [
        {"name": "serial", "type": "u32", "unit": "1", "description": "Serial number"})" +
        fields + "]}]}";
    std::vector<Problem> problems;
    PipelineSetup setup;
    auto vehicle = read_vehicle_texts(dictionary, R"({"name": "alpha"})", "alpha", problems);
    INFO(to_string(problems));
    REQUIRE(vehicle);
    setup.vehicles.push_back(std::move(*vehicle));
    setup.site.name = "Test";
    setup.site.pad = setup.site.station = {40, -118, 1200};
    for (std::size_t k = 0; k < links; ++k) setup.links.push_back({"link" + std::to_string(k), "test:x?" + options, 0});
    return setup;
}

/// Time and user data of packet `serial`.
Bytes payload_of(std::uint32_t serial, const std::vector<std::uint32_t>& values) {
    Bytes out;
    put(out, 1000 + 50 * serial, 4);
    put(out, serial, 4);
    for (const std::uint32_t value : values) put(out, value, 4);
    return out;
}

Bytes packet_of(std::uint32_t serial, const Bytes& payload) {
    Bytes out;
    put(out, 0x0800u | 7, 2);
    put(out, 0xC000u | (serial & 0x3FFFu), 2);
    put(out, payload.size() - 1, 2);
    out.insert(out.end(), payload.begin(), payload.end());
    return out;
}

/// A framing, as the options of a link have it and as the vehicle makes it.
struct Way {
    std::string name, options;
    std::function<Bytes(std::uint32_t serial, const Bytes& payload)> frame;
    double outside_bits;  ///< beside a frame's own, that have to be right for a good copy
    double boundary_bits; ///< by whose errors a copy has no place any more, besides those that make a delimiter
    std::optional<std::byte> delimiter = {};
};

/// Each packet in a frame of its own, whatever was lost before.
std::function<Bytes(std::uint32_t, const Bytes&)> transfer_frames(const TmFormat& format) {
    const auto encoder = std::make_shared<TmEncoder>(format, std::uint16_t{171}, std::uint8_t{3});
    return [encoder](std::uint32_t serial, const Bytes& payload) {
        Bytes link;
        encoder->packet(packet_of(serial, payload), link);
        encoder->flush(link);
        return link;
    };
}

const CrcKind& crc_named(std::string_view name) {
    return *std::ranges::find(kCrcKinds, name, &CrcKind::name);
}

std::vector<Way> ways() {
    const auto escaped = [](Stuffing stuffing, std::string_view crc, std::optional<std::uint16_t> apid) {
        EscapedFormat format;
        format.stuffing = stuffing;
        format.crc = crc_named(crc);
        format.crc_little = stuffing == Stuffing::hdlc;
        format.apid = apid;
        return [format](std::uint32_t serial, const Bytes& payload) {
            return encode_escaped_frame(format, format.apid ? payload : packet_of(serial, payload));
        };
    };
    const auto binary = [](std::size_t sync_bytes, std::size_t length_bytes) {
        BinaryFormat format;
        for (const unsigned byte : {0xEBU, 0x90U, 0x3CU})
            if (format.sync.size() < sync_bytes) format.sync.push_back(static_cast<std::byte>(byte));
        format.length_bytes = length_bytes;
        format.payload_bytes = 48;
        format.crc = crc_named("CRC-16/IBM-3740");
        return [format](std::uint32_t, const Bytes& payload) { return encode_binary_frame(format, payload); };
    };
    TmFormat transfer; // with room for one packet and nothing else
    transfer.frame_bytes = 62;
    return {
        {"HDLC-like", "framing=hdlc", escaped(Stuffing::hdlc, "CRC-16/IBM-SDLC", {}), 16, 16, std::byte{0x7E}},
        {"HDLC-like with FCS-32 and payloads", "framing=hdlc&fcs=32&apid=7",
         escaped(Stuffing::hdlc, "CRC-32/ISO-HDLC", 7), 16, 16, std::byte{0x7E}},
        {"SLIP with a CRC", "framing=slip&crc=CRC-16/IBM-SDLC", escaped(Stuffing::slip, "CRC-16/IBM-SDLC", {}), 16, 16,
         std::byte{0xC0}},
        {"sync and length", "framing=binary&sync=EB90&length=1&" + kSize + "_max=48&crc=CRC-16/IBM-3740&apid=7",
         binary(2, 1), 0, 48},
        {"sync and fixed size", "framing=binary&sync=EB903C&" + kSize + "=48&crc=CRC-16/IBM-3740&apid=7", binary(3, 0),
         0, 48},
        {"blocks of fixed size", "framing=binary&" + kSize + "=48&crc=CRC-16/IBM-3740&apid=7", binary(0, 0), 0, 0},
        {"transfer frames", "framing=tm&" + kSize + "=62", transfer_frames(transfer), 0, 0},
    };
}

/// What a station shows, each packet by its serial number.
struct Shown {
    std::map<std::uint32_t, std::vector<std::uint32_t>> values;
    std::size_t rows = 0, combined = 0;
};

Shown shown_of(const Pipeline& pipeline, const Batch& out) {
    Shown shown;
    for (const Table& table : pipeline.schema().tables) {
        if (table.name != "alpha/step") continue;
        for (const RowRecord& row : out.rows) {
            if (row.table != table.id) continue;
            const auto numbers = out.numbers_of(row, table);
            auto& values = shown.values[static_cast<std::uint32_t>(numbers[0])];
            values.clear();
            for (unsigned k = 1; k <= kValues; ++k) values.push_back(static_cast<std::uint32_t>(numbers[k]));
            ++shown.rows;
            const FrameRecord& frame = out.frames[static_cast<std::size_t>(row.frame)];
            shown.combined += frame.frame_verdict == FrameVerdict::combined ? 1 : 0;
        }
    }
    return shown;
}

double number_in(const Pipeline& pipeline, const Batch& out, const std::string& table, const std::string& column) {
    return newest(out, pipeline.schema(), table, column);
}

/// Received = in good frames + dropped, each byte in one frame or between delimiters that follow each other.
void check_account(const Pipeline& pipeline, const Batch& out, std::size_t links, double pending_most) {
    for (std::size_t link = 0; link < links; ++link) {
        const std::string name = "link/link" + std::to_string(link);
        double good_bytes = 0;
        std::uint64_t next = 0;
        for (const FrameRecord& frame : out.frames) {
            if (frame.link != link) continue;
            CHECK(frame.stream_offset >= next);
            next = frame.stream_offset + frame.link_bytes;
            if (frame.frame_verdict == FrameVerdict::combined) CHECK(frame.link_bytes == 0);
            if (frame.frame_verdict == FrameVerdict::good) good_bytes += frame.link_bytes;
        }
        const double pending =
            number_in(pipeline, out, name, "bytes") - good_bytes - number_in(pipeline, out, name, "dropped_bytes");
        CHECK(pending >= 0);
        CHECK(pending <= pending_most);
    }
}

std::vector<std::uint32_t> random_values(std::mt19937_64& random) {
    std::vector<std::uint32_t> values(kValues);
    for (std::uint32_t& value : values) value = static_cast<std::uint32_t>(random());
    return values;
}

} // namespace

TEST_CASE("of frames that several receivers heard each is shown once, whatever the framing") {
    for (const Way& way : ways()) {
        INFO(way.name);
        const PipelineSetup setup = receivers_of(3, way.options);
        Pipeline pipeline(setup, kStart_ns);
        Batch out;
        std::mt19937_64 random(1);
        std::map<std::uint32_t, std::vector<std::uint32_t>> heard;
        for (std::uint32_t serial = 0; serial < 600; ++serial) {
            const auto values = random_values(random);
            const Bytes frame = way.frame(serial, payload_of(serial, values));
            for (LinkId link = 0; link < 3; ++link) {
                if (random() % 3 == 0) continue;
                heard[serial] = values;
                const std::int64_t t_ns = kStart_ns + serial * kPeriodNs + link * 3 * kNsPerMs;
                pipeline.chunk(link, t_ns, t_ns, frame, out);
            }
        }
        pipeline.advance(kStart_ns + 32 * kNsPerS, out);
        const Shown shown = shown_of(pipeline, out);
        CHECK(shown.values == heard);
        CHECK(shown.rows == heard.size());
        double only = 0, first = 0;
        for (const char* link : {"link/link0", "link/link1", "link/link2"}) {
            only += number_in(pipeline, out, link, "only_here");
            first += number_in(pipeline, out, link, "first_here");
        }
        CHECK(first == static_cast<double>(heard.size()));
        // One of three alone: 3 (2/3) (1/3)^2 of all that were sent, binomial.
        CHECK(std::abs(only - 600 * 6.0 / 27) < 4 * std::sqrt(600 * 6.0 / 27 * 21 / 27));
    }
}

// As in test_receivers.cpp: with n bits of a frame, m that have to be right beside it, and a bit error rate p on three
// links, a copy is good with q^(n+m), q = 1-p; the vote is right with (q^3 + 3 p q^2)^n; what is both by inclusion and
// exclusion. What that leaves out is at most 9/2 b^2, b the mean number of errors by which a copy has no place.
TEST_CASE("three receivers bring as many frames as the binomial distribution says, whatever the framing") {
    for (const Way& way : ways()) {
        for (const double p : {1e-3, 5e-3, 1e-2}) {
            INFO(way.name << ", bit error rate " << p);
            constexpr std::uint32_t kFrames = 3000;
            const PipelineSetup setup = receivers_of(3, way.options);
            Pipeline pipeline(setup, kStart_ns);
            Batch out;
            std::mt19937_64 random(static_cast<std::uint64_t>(1e6 * p));
            std::map<std::uint32_t, std::vector<std::uint32_t>> sent;
            double expected = 0, alone = 0, missed = 0;
            for (std::uint32_t serial = 0; serial < kFrames + 2; ++serial) { // the last two are there to end the others
                const auto values = random_values(random);
                sent[serial] = values;
                const Bytes frame = way.frame(serial, payload_of(serial, values));
                for (LinkId link = 0; link < 3; ++link) {
                    const std::int64_t t_ns = kStart_ns + serial * kPeriodNs + link * 3 * kNsPerMs;
                    pipeline.chunk(link, t_ns, t_ns, serial < kFrames ? with_errors(frame, p, random) : frame, out);
                }
                if (serial >= kFrames) continue;
                double makes_delimiter = 0;
                if (way.delimiter)
                    for (const std::byte byte : frame)
                        makes_delimiter += std::popcount(std::to_integer<unsigned>(byte ^ *way.delimiter)) == 1 ? 1 : 0;
                const bool is_stream = way.name == "transfer frames"; // whose marker may have errors
                const double q = 1 - p, m = way.outside_bits;
                const double n = 8.0 * static_cast<double>(frame.size()) - m - (is_stream ? 32 : 0);
                const double good = std::pow(q, n + m);
                const double both = 3 * std::pow(q, m) * std::pow(q * (1 - p * p), n) - 3 * std::pow(q, 2 * (n + m)) +
                                    std::pow(q, 3 * (n + m));
                alone += 1 - std::pow(1 - good, 3);
                expected += 1 - std::pow(1 - good, 3) + std::pow(q * q * q + 3 * p * q * q, n) - both;
                const double b = p * (way.boundary_bits + makes_delimiter);
                missed += 4.5 * b * b;
            }
            pipeline.advance(kStart_ns + (kFrames + 40) * kPeriodNs, out);
            const Shown shown = shown_of(pipeline, out);
            double wrong = 0;
            for (const auto& [serial, values] : shown.values) {
                const auto at = sent.find(serial);
                wrong += at == sent.end() || at->second != values ? 1 : 0;
            }
            // A link by itself takes one in 65,536 wrong ones for good; where no sync is, it tries at every byte. It
            // has lost its place then, until its next good frame.
            const bool is_blocks = way.name == "blocks of fixed size";
            const double asked = 3.0 * kFrames * (is_blocks ? 50 : 1) / 65536;
            const double wrong_most = asked + 4 * std::sqrt(asked);
            CHECK(wrong <= wrong_most);
            if (is_blocks) missed += wrong_most / std::pow(1 - p, 8 * 50);
            CHECK(shown.rows == shown.values.size());
            const double measured = static_cast<double>(shown.rows) - wrong - 2;
            const double by_one = measured - static_cast<double>(shown.combined);
            const auto sigma = [](double mean) { return std::sqrt(std::max(mean * (1 - mean / kFrames), 1.0)); };
            INFO("expected " << expected << ", measured " << measured << ", of single links " << alone << " and "
                             << by_one << ", at most missed by boundaries " << missed);
            CHECK(measured < expected + 4 * sigma(expected));
            CHECK(measured > expected - missed - 4 * sigma(expected));
            CHECK(by_one < alone + 4 * sigma(alone));
            check_account(pipeline, out, 3, 200);
        }
    }
}

// Of a Reed-Solomon codeword of 255 symbols, 16 may be wrong. A symbol is wrong in the vote with 1 - (1 - 3p^2 +
// 2p^3)^8, and a block can be tried when three markers were found with three wrong bits at most: both binomial.
TEST_CASE("blocks with a code are read from the vote of three where none of them can be corrected") {
    const auto at_most = [](unsigned most, unsigned n, double p) {
        double sum = 0;
        for (unsigned k = 0; k <= most; ++k)
            sum += std::exp(std::lgamma(n + 1.0) - std::lgamma(k + 1.0) - std::lgamma(n - k + 1.0) + k * std::log(p) +
                            (n - k) * std::log1p(-p));
        return sum;
    };
    TmFormat format;
    format.correctable = 16;
    format.error_control = false;
    format.frame_bytes = 6 + 54 + 16; // shortened: one packet, an idle one
    constexpr unsigned kCodeword = 6 + 54 + 16 + 32;
    for (const double p : {0.03, 0.05}) {
        INFO("bit error rate " << p);
        const PipelineSetup setup = receivers_of(3, "framing=tm&code=255-223&" + kSize + "=76");
        Pipeline pipeline(setup, kStart_ns);
        Batch out;
        std::mt19937_64 random(9);
        constexpr unsigned kFrames = 1000;
        const auto frame_of = transfer_frames(format);
        std::map<std::uint32_t, std::vector<std::uint32_t>> sent;
        for (std::uint32_t serial = 0; serial < kFrames; ++serial) {
            sent[serial] = random_values(random);
            const Bytes frame = frame_of(serial, payload_of(serial, sent[serial]));
            for (LinkId link = 0; link < 3; ++link) {
                const std::int64_t t_ns = kStart_ns + serial * kPeriodNs + link * 3 * kNsPerMs;
                Bytes heard = with_errors(frame, p, random);
                if (link == 1) // its demodulator locked the other way round
                    for (std::byte& byte : heard) byte = ~byte;
                pipeline.chunk(link, t_ns, t_ns, heard, out);
            }
        }
        const Shown shown = shown_of(pipeline, out);
        for (const auto& [serial, values] : shown.values) CHECK(sent.at(serial) == values);
        const double symbol_alone = 1 - std::pow(1 - p, 8), symbol = 1 - std::pow(1 - 3 * p * p + 2 * p * p * p, 8);
        const double alone = kFrames * (1 - std::pow(1 - at_most(16, kCodeword, symbol_alone), 3));
        const double least = kFrames * at_most(16, kCodeword, symbol) * std::pow(at_most(3, 32, p), 3);
        const auto measured = static_cast<double>(shown.rows);
        INFO("at least " << least << ", of single links " << alone << ", shown " << measured << ", combined "
                         << shown.combined);
        CHECK(measured > least - 4 * std::sqrt(kFrames / 4.0));
        CHECK(static_cast<double>(shown.combined) > measured - alone - 4 * std::sqrt(kFrames / 4.0));
    }
}

// The sum of N receivers' symbols, each with noise of its own, is what one receiver hears with N times the power: the
// closed form of maximum-ratio combining for receivers that are alike (D. G. Brennan, Proc. IRE 47(6), 1959). So two
// must bring together what one brings at 3.01 dB more, and three at 4.77 dB more. Less it may be by frames whose place
// a link has lost.
TEST_CASE("symbols of several receivers give together what one with their power would hear") {
    TmFormat format;
    format.frame_bytes = 62;
    format.symbols = ChannelSymbols::soft;
    constexpr unsigned kFrames = 1200, kFade = 12;
    // Frames that are shown, of those in fades: the signal is strong for two frames before each.
    const auto shown_by = [&](LinkId links, double eb_n0_db) {
        const double sigma = std::sqrt(1 / std::pow(10, eb_n0_db / 10)); // rate 1/2: Es = Eb / 2, and N0 = 2 sigma^2
        const PipelineSetup setup =
            receivers_of(std::max<std::size_t>(links, 1), "framing=tm&" + kSize + "=62&symbols=soft");
        Pipeline pipeline(setup, kStart_ns);
        Batch out;
        std::mt19937_64 random(links);
        std::normal_distribution<double> noise;
        const auto frame_of = transfer_frames(format);
        std::map<std::uint32_t, std::vector<std::uint32_t>> sent;
        for (std::uint32_t serial = 0; serial < kFrames; ++serial) {
            sent[serial] = random_values(random);
            const Bytes frame = frame_of(serial, payload_of(serial, sent[serial]));
            const bool strong = serial % kFade < 2;
            for (LinkId link = 0; link < links; ++link) {
                Bytes heard = frame;
                for (std::byte& symbol : heard) {
                    const double x = (symbol == std::byte{255} ? 1 : -1) + (strong ? 0.1 : sigma) * noise(random);
                    symbol = static_cast<std::byte>(std::clamp(127.5 + 32 * x, 0.0, 255.0));
                    if (link == 1) symbol = ~symbol; // its demodulator locked the other way round
                }
                const std::int64_t t_ns = kStart_ns + serial * kPeriodNs + link * 3 * kNsPerMs;
                pipeline.chunk(link, t_ns, t_ns, heard, out);
            }
        }
        pipeline.advance(kStart_ns + (kFrames + 40) * kPeriodNs, out);
        const Shown shown = shown_of(pipeline, out);
        double in_fades = 0;
        for (const auto& [serial, values] : shown.values) {
            CHECK(sent.at(serial) == values);
            in_fades += serial % kFade >= 2 ? 1 : 0;
        }
        CHECK(shown.rows == shown.values.size());
        check_account(pipeline, out, links, 2 * 16 * (62 + 4));
        return in_fades;
    };
    constexpr double kSent = kFrames / kFade * (kFade - 2.0);
    for (const auto& [links, eb_n0_db] : {std::pair<LinkId, double>{2, -0.5}, {2, 0.5}, {3, -1.5}, {3, -0.5}}) {
        const double one = shown_by(1, eb_n0_db), same = shown_by(1, eb_n0_db + 10 * std::log10(links));
        const double together = shown_by(links, eb_n0_db);
        const double sigma = std::sqrt(2 * std::max(same * (1 - same / kSent), 1.0)); // of their difference
        INFO(links << " receivers at " << eb_n0_db << " dB: " << together << " of " << kSent << ", one " << one
                   << ", one with their power " << same);
        CHECK(together < same + 4 * sigma);
        CHECK(together > 0.97 * same - 4 * sigma);
        CHECK(together > 5 * one);
    }
}

// Of three decided symbols most are right where two are: an error rate p becomes 3p^2 - 2p^3 or, as the decoder weighs
// one against two less than three against none, better.
TEST_CASE("decided symbols of several receivers give as much as the vote on them at least") {
    TmFormat format;
    format.frame_bytes = 62;
    format.symbols = ChannelSymbols::hard;
    constexpr unsigned kFrames = 600;
    const auto shown_by = [&](LinkId links, double p) {
        const PipelineSetup setup = receivers_of(links, "framing=tm&" + kSize + "=62&symbols=hard");
        Pipeline pipeline(setup, kStart_ns);
        Batch out;
        std::mt19937_64 random(links);
        const auto frame_of = transfer_frames(format);
        std::map<std::uint32_t, std::vector<std::uint32_t>> sent;
        for (std::uint32_t serial = 0; serial < kFrames; ++serial) {
            sent[serial] = random_values(random);
            const Bytes frame = frame_of(serial, payload_of(serial, sent[serial]));
            for (LinkId link = 0; link < links; ++link) {
                const std::int64_t t_ns = kStart_ns + serial * kPeriodNs + link * 3 * kNsPerMs;
                pipeline.chunk(link, t_ns, t_ns, serial % 12 < 2 ? frame : with_errors(frame, p, random), out);
            }
        }
        const Shown shown = shown_of(pipeline, out);
        for (const auto& [serial, values] : shown.values) CHECK(sent.at(serial) == values);
        return static_cast<double>(shown.rows);
    };
    for (const double p : {0.10, 0.13}) {
        const double one = shown_by(1, p), voted = shown_by(1, 3 * p * p - 2 * p * p * p), together = shown_by(3, p);
        INFO("symbol error rate " << p << ": " << one << " of one, " << together << " together, " << voted
                                  << " by the vote's rate, of " << kFrames);
        CHECK(together > one + 100);
        CHECK(together > voted - 4 * std::sqrt(kFrames / 2.0));
    }
}
