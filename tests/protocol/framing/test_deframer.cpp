// The framing rules checked here are those of protocol/LINK.md, section 1.
#include <catch2/catch.hpp>

#include "protocol/framing/deframer.hpp"
#include "tests/protocol/bytes.hpp"

using namespace turnstone;

namespace {

struct SeenFrame {
    FrameVerdict verdict;
    std::uint64_t stream_offset;
    std::uint32_t link_bytes;
    Bytes packet;
    friend bool operator==(const SeenFrame&, const SeenFrame&) = default;
};

struct Seen {
    std::vector<SeenFrame> frames;
    DeframerCounts counts;
    Bytes pending;
};

/// Feeds pieces of the given sizes in turn (0: all at once) and checks the accounting after each.
Seen deframe(std::span<const std::byte> stream, const std::vector<std::size_t>& sizes) {
    Seen seen;
    Deframer deframer;
    for (std::size_t at = 0, i = 0; at < stream.size(); ++i) {
        const std::size_t size = std::min(sizes[i % sizes.size()], stream.size() - at);
        const Exact piece(stream.subspan(at, size == 0 ? stream.size() - at : size));
        deframer.push(piece.span(), [&](const Frame& frame) {
            seen.frames.push_back(
                {frame.verdict, frame.stream_offset, frame.link_bytes, {frame.packet.begin(), frame.packet.end()}});
        });
        at += piece.span().size();
        const DeframerCounts& counts = deframer.counts();
        REQUIRE(counts.bytes_in == at);
        REQUIRE(counts.bytes_in == counts.bytes_framed + counts.bytes_dropped + deframer.pending().size());
    }
    seen.counts = deframer.counts();
    seen.pending.assign(deframer.pending().begin(), deframer.pending().end());
    return seen;
}

Bytes operator+(Bytes a, const Bytes& b) {
    a.insert(a.end(), b.begin(), b.end());
    return a;
}

Bytes random_packet(std::mt19937& random, unsigned sequence_count, std::size_t user_bytes) {
    return packet_of(16 + random() % 8, sequence_count, static_cast<std::uint32_t>(random()),
                     random_bytes(random, user_bytes, 25));
}

/// A good frame of so many bytes on the link.
Bytes frame_of_size(std::size_t bytes) {
    for (std::size_t user_bytes = 1; user_bytes < bytes; ++user_bytes) {
        Bytes frame = frame_of(packet_of(1, 1, 1, Bytes(user_bytes, std::byte{7})));
        if (frame.size() == bytes) return frame;
    }
    throw std::runtime_error("no packet gives a frame of this size");
}

/// Frames, runs of delimiters, garbage with and without delimiters, and one stretch far too long.
Bytes mixed_stream(std::mt19937& random, int frame_count) {
    Bytes stream;
    for (int i = 0; i < frame_count; ++i) {
        switch (random() % 8) {
        case 0: stream = stream + random_bytes(random, random() % 60, 5); break;
        case 1: stream = stream + Bytes(random() % 4, std::byte{0}); break;
        case 2: stream = stream + random_bytes(random, i == 30 ? 5000 : 1100, 0); break;
        default: stream = stream + frame_of(random_packet(random, static_cast<unsigned>(i), random() % 300));
        }
    }
    return stream + frame_of(random_packet(random, 9999, 20)) + random_bytes(random, 40, 0);
}

} // namespace

TEST_CASE("each verdict comes from the input that earns it", "[deframer]") {
    const Bytes good_packet = packet_of(16, 1, 1000, from_hex("0102000304"));
    Bytes short_length = good_packet;
    short_length[5] = std::byte{0x10};
    Bytes flipped = frame_of(good_packet);
    flipped[2] ^= std::byte{0x40};
    struct Case {
        const char* name;
        Bytes stream;
        FrameVerdict verdict;
    };
    const std::vector<Case> cases = {
        {"good", frame_of(good_packet), FrameVerdict::good},
        {"least packet", frame_of(from_hex("0001C0000000AA")), FrameVerdict::good},
        {"largest frame", frame_of_size(kFrameBytesMax), FrameVerdict::good},
        {"code beyond the delimiter", from_hex("0511223300"), FrameVerdict::bad_cobs},
        {"flipped bit", flipped, FrameVerdict::bad_crc},
        {"length field too large", frame_of(short_length), FrameVerdict::bad_length},
        {"six bytes with a correct CRC", frame_of(from_hex("0001C0000000")), FrameVerdict::bad_length},
        {"nothing with a right CRC", frame_of({}), FrameVerdict::bad_length},
        {"one byte too long", frame_of_size(kFrameBytesMax + 1), FrameVerdict::too_long},
        {"five thousand bytes", Bytes(5000, std::byte{9}) + Bytes(1), FrameVerdict::too_long},
    };
    for (const Case& c : cases) {
        for (const std::size_t size : {0U, 1U, 100U}) {
            INFO(c.name << " in pieces of " << size);
            const Seen seen = deframe(c.stream, {size});
            REQUIRE(seen.frames.size() == 1);
            CHECK(seen.frames[0].verdict == c.verdict);
            CHECK(seen.frames[0].link_bytes == c.stream.size());
            CHECK(seen.counts.frames_good == (c.verdict == FrameVerdict::good ? 1 : 0));
            CHECK(seen.counts.frames_bad == (c.verdict == FrameVerdict::good ? 0 : 1));
        }
    }
    CHECK(deframe(frame_of(good_packet), {0}).frames[0].packet == good_packet);
}

TEST_CASE("the largest frame follows the largest packet", "[deframer]") {
    CHECK(frame_bytes_max(7) == kFrameBytesMax);
    CHECK(frame_bytes_max(1016) == kFrameBytesMax);
    CHECK(frame_bytes_max(1017) == 1025);
    CHECK(frame_bytes_max(65'542) == 65'804);
    std::mt19937 random(17);
    for (const std::size_t packet_bytes : {2000U, 20'000U, 65'542U}) {
        Bytes packet = from_hex("0001C0000000");
        packet.resize(packet_bytes, std::byte{1}); // without zeros stuffing adds the most
        packet[4] = static_cast<std::byte>((packet_bytes - 7) >> 8U);
        packet[5] = static_cast<std::byte>((packet_bytes - 7) & 0xFFU);
        const Bytes frame = frame_of(packet);
        REQUIRE(frame.size() <= frame_bytes_max(packet_bytes));
        for (const std::size_t size_max : {frame_bytes_max(packet_bytes), frame.size(), frame.size() - 1}) {
            Deframer deframer(size_max);
            std::vector<FrameVerdict> verdicts;
            for (std::span<const std::byte> rest = frame; !rest.empty();) {
                const std::size_t size = std::min<std::size_t>(rest.size(), 1 + random() % 5000);
                deframer.push(rest.first(size), [&](const Frame& one) { verdicts.push_back(one.verdict); });
                rest = rest.subspan(size);
                const DeframerCounts& counts = deframer.counts();
                REQUIRE(counts.bytes_in == counts.bytes_framed + counts.bytes_dropped + deframer.pending().size());
            }
            CHECK(verdicts == std::vector{size_max < frame.size() ? FrameVerdict::too_long : FrameVerdict::good});
        }
    }
}

TEST_CASE("any split of the input gives the same frames and counts", "[deframer]") {
    std::mt19937 random(7);
    const Bytes stream = mixed_stream(random, 60);
    const Seen whole = deframe(stream, {0});
    REQUIRE(whole.frames.size() > 30);
    std::vector<std::vector<std::size_t>> splits = {{1}, {2}, {3}, {7}, {64}, {1023}, {1024}, {1025}};
    for (int i = 0; i < 40; ++i) {
        splits.emplace_back();
        for (int k = 0; k < 50; ++k) splits.back().push_back(1 + random() % (i % 2 == 0 ? 10 : 1500));
    }
    for (const auto& split : splits) {
        const Seen seen = deframe(stream, split);
        REQUIRE(seen.frames == whole.frames);
        REQUIRE(seen.pending == whole.pending);
        REQUIRE(seen.counts.bytes_framed == whole.counts.bytes_framed);
        REQUIRE(seen.counts.bytes_dropped == whole.counts.bytes_dropped);
    }
}

TEST_CASE("frames say where they stood and cover the stream without gaps but repeated delimiters", "[deframer]") {
    std::mt19937 random(8);
    const Bytes stream = mixed_stream(random, 200);
    const Seen seen = deframe(stream, {97});
    std::uint64_t framed = 0;
    std::uint64_t next = 0;
    for (const SeenFrame& frame : seen.frames) {
        for (; next < frame.stream_offset; ++next) REQUIRE(stream[next] == std::byte{0});
        next += frame.link_bytes;
        REQUIRE(stream[next - 1] == std::byte{0});
        framed += frame.verdict == FrameVerdict::good ? frame.link_bytes : 0;
    }
    CHECK(framed == seen.counts.bytes_framed);
    CHECK(Bytes(stream.begin() + static_cast<std::ptrdiff_t>(next), stream.end()) == seen.pending);
}

TEST_CASE("a run without a delimiter is reported in pieces, however long it gets", "[deframer]") {
    std::mt19937 random(12);
    const Bytes packet = random_packet(random, 5, 30);
    for (const std::size_t run : {kTooLongBytesMax - 1, kTooLongBytesMax, kTooLongBytesMax + 1, kTooLongBytesMax + 20,
                                  2 * kTooLongBytesMax, 5 * kTooLongBytesMax + 321}) {
        INFO(run << " bytes");
        const Bytes stream = Bytes(run, std::byte{'x'}) + Bytes(1) + frame_of(packet);
        Seen whole;
        for (const std::size_t size : {0U, 1U, 999U, 65536U, 100'000U}) {
            Seen seen = deframe(stream, {size});
            if (size == 0) whole = seen;
            CHECK(seen.frames == whole.frames);
        }
        std::uint64_t covered = 0;
        for (std::size_t k = 0; k + 1 < whole.frames.size(); ++k) {
            CHECK(whole.frames[k].verdict == FrameVerdict::too_long);
            CHECK(whole.frames[k].stream_offset == covered);
            CHECK(whole.frames[k].link_bytes <= kTooLongBytesMax);
            covered += whole.frames[k].link_bytes;
        }
        // A delimiter right after a full piece closes nothing and is not reported.
        CHECK(covered + (run % kTooLongBytesMax == 0 ? 1 : 0) == run + 1);
        CHECK(whole.frames.back().verdict == FrameVerdict::good);
        CHECK(whole.frames.back().packet == packet);
    }
}

TEST_CASE("after any garbage and one delimiter the next frame is good", "[deframer]") {
    std::mt19937 random(9);
    const Bytes packet = random_packet(random, 5, 30);
    for (int i = 0; i < 500; ++i) {
        const Bytes garbage = random_bytes(random, random() % 3000, i % 2 == 0 ? 0 : 2);
        const Seen seen = deframe(garbage + Bytes(1) + frame_of(packet), {1 + random() % 200});
        REQUIRE(seen.frames.back().verdict == FrameVerdict::good);
        REQUIRE(seen.frames.back().packet == packet);
    }
}

TEST_CASE("one damaged byte costs at most two frames, wherever it is", "[deframer]") {
    std::mt19937 random(10);
    std::vector<Bytes> packets;
    Bytes stream;
    for (unsigned i = 0; i < 6; ++i) {
        packets.push_back(random_packet(random, i, i == 3 ? 300 : 24));
        stream = stream + frame_of(packets.back());
    }
    std::size_t worst = 0;
    for (std::size_t position = 0; position < stream.size(); ++position) {
        for (const unsigned damage : {0x00U, 0x01U, 0xFFU, 0x80U, 0x55U, 0x100U, 0x101U}) {
            Bytes damaged = stream;
            // values set, and two that flip bits
            damaged[position] = damage < 0x100U ? static_cast<std::byte>(damage)
                                                : damaged[position] ^ static_cast<std::byte>(damage & 1U ? 0x10 : 0x01);
            std::vector<Bytes> good;
            for (SeenFrame& frame : deframe(damaged, {0}).frames)
                if (frame.verdict == FrameVerdict::good) good.push_back(std::move(frame.packet));
            for (const Bytes& packet : good)
                REQUIRE(std::find(packets.begin(), packets.end(), packet) != packets.end());
            REQUIRE(good.size() + 2 >= packets.size());
            worst = std::max(worst, packets.size() - good.size());
        }
    }
    CHECK(worst == 2);
}

TEST_CASE("a deframer that is given the start of a frame finishes it", "[deframer]") {
    // What a new recording does with the bytes pending in the one before.
    std::mt19937 random(11);
    const Bytes packet = random_packet(random, 3, 60);
    const Bytes frame = frame_of(packet);
    for (std::size_t cut = 0; cut < frame.size(); ++cut) {
        Deframer before;
        before.push(std::span(frame).first(cut), [](const Frame&) { FAIL("no frame yet"); });
        Deframer after;
        int good = 0;
        const auto on_frame = [&](const Frame& f) { good += f.verdict == FrameVerdict::good ? 1 : 0; };
        after.push(before.pending(), on_frame);
        after.push(std::span(frame).subspan(cut), on_frame);
        REQUIRE(good == 1);
    }
}
