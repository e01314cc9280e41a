// What bytes look like: published sentences and frames from outside the project (tests/reference/unframed.json), and
// lines heard at a wrong rate.
#include <catch2/catch.hpp>

#include <map>
#include <random>
#include <string>

#include "server/pipeline/link/byte_look.hpp"
#include "tests/pipeline/link/uart.hpp"
#include "tests/pipeline/station.hpp"
#include "tests/support/hex.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

Bytes bytes_of(std::string_view text) {
    const auto bytes = std::as_bytes(std::span(text));
    return {bytes.begin(), bytes.end()};
}

Bytes random_bytes(std::size_t count, unsigned seed) {
    std::mt19937 random(seed);
    Bytes out;
    while (out.size() < count) out.push_back(static_cast<std::byte>(random() & 0xFFu));
    return out;
}

/// Two seconds of a vehicle's packets, back to back as a modem gives them.
Bytes vehicle_stream() {
    std::vector<Sent> sent;
    send(sent, kStart_ns, 2 * kNsPerS, 123'456, 77);
    Bytes out;
    for (const Sent& packet : sent) out.insert(out.end(), packet.bytes.begin(), packet.bytes.end());
    return out;
}

std::string sentences() {
    std::string text;
    for (const auto& one : read_reference("unframed.json").at("sentences"))
        text += one.at("sentence").get<std::string>() + "\r\n";
    return text;
}

} // namespace

TEST_CASE("bytes that hold no frame are told by what they look like") {
    std::string lines, log;
    for (const auto& one : read_reference("unframed.json").at("lines"))
        lines += one.at("line").get<std::string>() + "\n";
    for (int k = 0; k < 40; ++k) log += "[" + std::to_string(k * 1000) + "] receiver ready, waiting for carrier\r\n";
    const std::string nmea = sentences();
    struct Case {
        const char* name;
        Bytes bytes;
        BytesSeen seen;
    };
    const Case cases[] = {
        {"nothing", {}, {}},
        {"fifteen bytes", Bytes(15, std::byte{'x'}), {}},
        {"a line held low", Bytes(300), {ByteLook::one_byte, {0x00}}},
        {"a line held high", Bytes(300, std::byte{0xFF}), {ByteLook::one_byte, {0xFF}}},
        {"a test pattern", Bytes(300, std::byte{0x55}), {ByteLook::one_byte, {0x55}}},
        {"sentences", bytes_of(nmea), {ByteLook::nmea}},
        {"sentences heard from the middle of one", bytes_of(std::string_view(nmea).substr(30)), {ByteLook::nmea}},
        {"comma-separated lines", bytes_of(lines), {ByteLook::text}},
        {"a console", bytes_of(log), {ByteLook::text}},
        {"random bytes", random_bytes(5000, 1), {ByteLook::noise}},
        {"few random bytes", random_bytes(100, 2), {ByteLook::noise}},
    };
    for (const Case& one : cases) {
        INFO(one.name);
        CHECK(look_at(one.bytes) == one.seen);
    }
}

TEST_CASE("random bytes are noise, whatever the seed") {
    for (unsigned seed = 0; seed < 500; ++seed) {
        INFO(seed);
        CHECK(look_at(random_bytes(64 + seed * 10, seed)).look == ByteLook::noise);
    }
}

TEST_CASE("a protocol's start bytes are found from packet to packet") {
    std::map<std::string, std::vector<Bytes>> formats;
    for (const auto& one : read_reference("unframed.json").at("frames"))
        formats[one.at("start_hex")].push_back(from_hex(one.at("frame_hex").get<std::string>()));
    CHECK(formats.size() == 3);
    for (const auto& [start_hex, frames] : formats) {
        INFO(start_hex);
        const Bytes start = from_hex(start_hex.substr(0, 4));
        const BytesSeen expected{ByteLook::start_bytes,
                                 {std::to_integer<std::uint8_t>(start[0]), std::to_integer<std::uint8_t>(start[1])}};
        // As published, over and over, and with contents and lengths that change as telemetry does.
        Bytes repeated, varied;
        for (int k = 0; k < 20; ++k)
            for (const Bytes& frame : frames) repeated.insert(repeated.end(), frame.begin(), frame.end());
        CHECK(look_at(repeated) == expected);
        std::mt19937 random(7);
        const Bytes marker = from_hex(start_hex);
        for (unsigned k = 0; varied.size() < 3000; ++k) {
            varied.insert(varied.end(), marker.begin(), marker.end());
            put(varied, k, 2);
            const Bytes content = random_bytes(20 + random() % 40, k);
            varied.insert(varied.end(), content.begin(), content.end());
        }
        CHECK(look_at(varied) == expected);
    }
}

TEST_CASE("a line heard at a wrong rate is taken for no protocol and no text") {
    // Every pair of rates that radios and receivers are found at, whole factors and odd ones.
    const double rates[] = {4800, 9600, 19200, 38400, 57600, 115200, 230400};
    const Bytes stream = vehicle_stream();
    const Bytes nmea = bytes_of(sentences() + sentences());
    std::size_t pairs = 0, slow = 0;
    for (const double sender : rates)
        for (const double receiver : rates) {
            if (sender == receiver) continue;
            INFO("sent at " << sender << ", heard at " << receiver);
            ++pairs;
            for (const Bytes* sent : {&stream, &nmea})
                for (const double gap_bits : {0.0, 37.0}) {
                    const Bytes bytes =
                        heard(*sent, {sender, receiver}, gap_bits, [](std::size_t k) { return k % 23 == 22; });
                    const ByteLook look = look_at(bytes).look;
                    CAPTURE(word(look), sent == &nmea, gap_bits, bytes.size());
                    CHECK(look != ByteLook::nmea);
                    CHECK(look != ByteLook::text);
                    if (receiver >= 2 * sender) CHECK((look == ByteLook::slow_bits || look == ByteLook::one_byte));
                    if (receiver < sender) CHECK(look != ByteLook::slow_bits);
                    slow += look == ByteLook::slow_bits ? 1 : 0;
                }
        }
    CHECK(pairs == 42);
    CHECK(slow > 0);
    // At the right rate the line gives what was sent.
    CHECK(heard(
              stream, {57600, 57600}, 5.0, [](std::size_t k) { return k % 9 == 0; }) == stream);
    CHECK(heard(stream, {57600, 58000}, 0.0, [](std::size_t) { return false; }) == stream);
}

TEST_CASE("a sample keeps the first of what comes") {
    ByteSample sample;
    const Bytes all = random_bytes(3 * kLookBytesMax, 3);
    for (std::size_t at = 0; at < all.size(); at += 700)
        sample.push(std::span(all).subspan(at, std::min<std::size_t>(700, all.size() - at)));
    CHECK(std::ranges::equal(sample.bytes(), std::span(all).first(kLookBytesMax)));
    sample.clear();
    CHECK(sample.bytes().empty());
    sample.push(std::span(all).first(10));
    CHECK(sample.bytes().size() == 10);
}
