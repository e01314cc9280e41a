// The rules checked here are those of protocol/TM.md, section 5.
#include <catch2/catch.hpp>

#include "protocol/space_link/packet_deframer.hpp"
#include "tests/protocol/framing/cut.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

PacketDeframer deframer_of(const std::string& sync = "") {
    KnownPackets known;
    known.apids.set(5).set(700);
    known.packet_bytes_max = 200;
    return {from_hex(sync), known};
}

/// Packets of two APIDs and idle ones.
std::vector<Bytes> packets(std::mt19937& random, unsigned count) {
    std::vector<Bytes> out;
    for (unsigned k = 0; k < count; ++k)
        out.push_back(packet_of(k % 7 == 3   ? 2047
                                : k % 2 == 0 ? 5
                                             : 700,
                                k, k, random_bytes(random, random() % 150 + 1, 5)));
    return out;
}

} // namespace

TEST_CASE("a file of packets is read to its last octet, with sync words and without", "[packet_deframer]") {
    std::mt19937 random(3);
    const auto sent = packets(random, 60);
    for (const char* sync : {"", "1ACFFC1D", "EB"}) {
        Bytes stream;
        for (const Bytes& packet : sent) {
            const Bytes word = from_hex(sync);
            stream.insert(stream.end(), word.begin(), word.end());
            stream.insert(stream.end(), packet.begin(), packet.end());
        }
        const Cut seen = cut(deframer_of(sync), stream);
        std::vector<Bytes> got;
        for (const CutFrame& frame : seen.frames) got.push_back(frame.packet);
        CHECK(got == sent);
        CHECK(seen.counts.bytes_dropped == 0);
        check_splits(deframer_of(sync), stream);
    }
}

TEST_CASE("behind garbage and damage packets are found again, two in a row", "[packet_deframer]") {
    std::mt19937 random(8);
    for (const char* sync : {"", "1ACFFC1D"}) {
        Bytes stream;
        std::size_t damaged = 0;
        const auto sent = packets(random, 120);
        for (std::size_t k = 0; k < sent.size(); ++k) {
            if (k % 20 == 7) {
                const Bytes noise(random() % 50 + 1, std::byte{0xFF}); // no packet has version 7
                stream.insert(stream.end(), noise.begin(), noise.end());
                ++damaged;
            }
            const Bytes word = from_hex(sync);
            stream.insert(stream.end(), word.begin(), word.end());
            stream.insert(stream.end(), sent[k].begin(), sent[k].end());
        }
        const Cut seen = cut(deframer_of(sync), stream);
        CHECK(seen.counts.frames_good == sent.size());
        CHECK(seen.count(FrameVerdict::outside) == static_cast<long>(damaged));
        check_splits(deframer_of(sync), stream);
    }
}

TEST_CASE("headers that cannot be begin no packet", "[packet_deframer]") {
    const Bytes packet = packet_of(5, 1, 1, Bytes(20, std::byte{0xFF}));
    const auto good = [&](std::size_t at, std::byte value) {
        Bytes stream = packet;
        stream[at] = value;
        return cut(deframer_of(), stream).counts.frames_good;
    };
    CHECK(good(6, std::byte{1}) == 1);
    CHECK(good(0, std::byte{0x28}) == 0); // version 1
    CHECK(good(1, std::byte{6}) == 0);    // not in the dictionary
    CHECK(good(4, std::byte{4}) == 0);    // longer than any
}

TEST_CASE("noise among packets is bounded and reported in pieces", "[packet_deframer]") {
    const Cut seen = cut(deframer_of(), Bytes(2 * kTooLongBytesMax + 10, std::byte{0xFF}), {4096, 1});
    REQUIRE(seen.frames.size() == 2);
    CHECK(seen.frames[1].stream_offset == kTooLongBytesMax);
    CHECK(seen.pending.size() < 10);
}
