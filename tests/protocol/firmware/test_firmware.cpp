// The generated header is compiled by a C compiler as flight firmware would, for 64 and for 32 bits, and what it sends
// is read back by the deframer and decoder. Half precision is compared with Eigen's.
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>

#include <Eigen/Core>
#include <catch2/catch.hpp>

#include "protocol/decode/decoder.hpp"
#include "protocol/decode/half.hpp"
#include "protocol/firmware/generate.hpp"
#include "protocol/framing/deframer.hpp"
#include "tests/protocol/bytes.hpp"

using namespace turnstone;
namespace fs = std::filesystem;

namespace {

const std::string kWarnings = " -std=c99 -Wall -Wextra -Werror -pedantic -Wconversion -Wshadow ";

fs::path work_folder(const std::string& name) {
    fs::path folder = build_path("firmware_test/" + name);
    fs::create_directories(folder);
    return folder;
}

void run(const std::string& command) {
    INFO(command);
    REQUIRE(std::system(command.c_str()) == 0);
}

/// Not every kernel does; where it does not, programs of 32 bits are only compiled.
bool runs_32_bits() {
    static const bool runs = [] {
        const fs::path folder = work_folder("probe");
        write_file(folder / "probe.c", "int main(void) { return 0; }\n");
        const std::string program = (folder / "probe").string();
        run("gcc -m32 -o " + program + " " + program + ".c");
        return std::system((program + " 2>/dev/null").c_str()) == 0;
    }();
    if (!runs) WARN("this machine runs no programs of 32 bits");
    return runs;
}

/// Checks a program's output (see roundtrip.c) against what the ground decodes; returns numbers checked.
int check_output(const fs::path& output, const Dictionary& dictionary) {
    Decoder decoder(dictionary);
    Deframer deframer;
    DecodedPacket packet{};
    std::ifstream file(output);
    Bytes frame_packet;
    int checked = 0;
    std::string line;
    while (std::getline(file, line)) {
        std::istringstream words(line);
        std::string kind;
        words >> kind;
        if (kind == "frame") {
            std::string hex;
            words >> hex;
            int frames = 0;
            deframer.push(from_hex(hex), [&](const Frame& frame) {
                ++frames;
                REQUIRE(frame.verdict == FrameVerdict::good);
                frame_packet.assign(frame.packet.begin(), frame.packet.end());
            });
            REQUIRE(frames == 1);
            packet = decoder.decode(frame_packet);
            REQUIRE(packet.verdict == DecodeVerdict::good);
            continue;
        }
        std::size_t table = 0;
        std::size_t row = 0;
        std::size_t channel = 0;
        words >> table >> row >> channel;
        REQUIRE(row < packet.rows.size());
        REQUIRE(packet.rows[row].table == table);
        if (kind == "n") {
            double value = 0;
            double tolerance = 0;
            words >> value >> tolerance;
            INFO(line << ": decoded " << packet.rows[row].numbers[channel]);
            REQUIRE(std::abs(packet.rows[row].numbers[channel] - value) <= tolerance);
        } else {
            std::string text;
            words >> text;
            REQUIRE(packet.rows[row].texts[channel] == text);
        }
        ++checked;
    }
    CHECK(deframer.counts().frames_bad == 0);
    return checked;
}

} // namespace

TEST_CASE("firmware's frames decode to what firmware meant, on 64 and 32 bits", "[firmware]") {
    const Dictionary dictionary = dictionary_of(read_json(source_path("tests/golden/dictionary/stress.json")));
    const fs::path folder = work_folder("stress");
    write_file(folder / "stress_rig.h", generate_firmware_header(dictionary));
    const std::string sources = source_path("tests/protocol/firmware/roundtrip.c").string() + " " +
                                source_path("tests/protocol/firmware/second_unit.c").string();
    for (const std::string mode : {"-m64 -fsanitize=undefined -fno-sanitize-recover=all", "-m32"}) {
        run("gcc " + mode + kWarnings + "-O1 -I" + folder.string() + " " + sources + " -o " +
            (folder / "roundtrip").string());
        if (mode == "-m32" && !runs_32_bits()) continue;
        run((folder / "roundtrip").string() + " > " + (folder / "output").string());
        CHECK(check_output(folder / "output", dictionary) == 60 * (12 + 13 + 5 + 3 + 101) + 6 * 12 * 83);
    }
}

TEST_CASE("the demo's header compiles as C99 and as C++ without a warning", "[firmware]") {
    const Dictionary dictionary = dictionary_of(read_json(demo_path("sanderling/dictionary.json")));
    const fs::path folder = work_folder("demo");
    write_file(folder / "sanderling.h", generate_firmware_header(dictionary));
    write_file(
        folder / "unit.c",
        "#include \"sanderling.h\"\nint main(void) { return SANDERLING_FIX_FIX_DIMENSIONS_3_D == 3 ? 0 : 1; }\n");
    fs::copy_file(folder / "unit.c", folder / "unit.cpp", fs::copy_options::overwrite_existing);
    const std::string base = " -I" + folder.string() + " -o " + (folder / "unit").string() + " " + folder.string();
    run("gcc" + kWarnings + base + "/unit.c && " + (folder / "unit").string());
    run("gcc -m32" + kWarnings + base + "/unit.c");
    if (runs_32_bits()) run((folder / "unit").string());
    run("g++ -std=c++20 -Wall -Wextra -Wconversion -Wshadow -Werror" + base + "/unit.cpp && " +
        (folder / "unit").string());
}

TEST_CASE("packets that firmware cannot encode are named with what is in the way", "[firmware]") {
    const Dictionary varied = dictionary_of(read_json(source_path("tests/golden/dictionary/varied.json")));
    const auto obstacles = firmware_obstacles(varied);
    REQUIRE(obstacles.size() == varied.packets.size() - 1); // "least" is plain
    const auto says = [&](const std::string& packet, const std::string& why) {
        return std::ranges::any_of(obstacles, [&](const std::string& obstacle) {
            return obstacle.starts_with("packet \"" + packet + "\" ") && obstacle.find(why) != std::string::npos;
        });
    };
    CHECK(says("thermal", "the packet itself tells"));
    CHECK(says("other", "secondary header with fields"));
    CHECK(says("fixed", "a time that firmware cannot encode"));
    for (const char* file : {"tools/demo/sanderling/dictionary.json", "tests/golden/dictionary/stress.json"})
        CHECK(firmware_obstacles(dictionary_of(read_json(source_path(file)))).empty());
}

TEST_CASE("packets without a time, with parts, octets and sizes of their own come back from firmware", "[firmware]") {
    const Dictionary dictionary = dictionary_of(nlohmann::json::parse(R"({"vehicle":"v","version":"1","packets":[
        {"apid":7,"name":"plain","period_ms":0,"octets":14,"fields":[
          {"name":"status","type":"u8"},{"name":"is_on","type":"u1","part_of":"status"},
          {"name":"key","type":"octets","octets":3},{"spare_bits":4},{"name":"step","type":"i12"}]},
        {"apid":8,"name":"timed","period_ms":0,"time":{"format":"cuc","coarse_octets":4,"fine_octets":1},"fields":[
          {"name":"level","type":"u8"}]}]})"));
    REQUIRE(firmware_obstacles(dictionary).empty());
    const fs::path folder = work_folder("plain");
    write_file(folder / "v.h", generate_firmware_header(dictionary));
    write_file(folder / "unit.c", R"(#include <stdio.h>
#include "v.h"
static void print(const uint8_t* frame, size_t size) {
    size_t i;
    for (i = 0; i < size; ++i) printf("%02X", (unsigned)frame[i]);
    printf("\n");
}
int main(void) {
    const struct v_plain plain = {0x81, {0xDE, 0xAD, 0x00}, -5};
    const struct v_timed timed = {42};
    uint8_t out[64];
    print(out, v_encode_plain(out, sizeof out, 1, &plain));
    print(out, v_encode_timed(out, sizeof out, 2, 10, 128, &timed));
    return 0;
}
)");
    run("gcc" + kWarnings + "-I" + folder.string() + " " + (folder / "unit.c").string() + " -o " +
        (folder / "unit").string() + " && " + (folder / "unit").string() + " > " + (folder / "output").string());
    std::ifstream file(folder / "output");
    std::string hex;
    Deframer deframer;
    Decoder decoder(dictionary);
    std::vector<std::string> packets;
    while (file >> hex)
        deframer.push(from_hex(hex), [&](const Frame& frame) {
            REQUIRE(frame.verdict == FrameVerdict::good);
            packets.push_back(to_hex(frame.packet));
        });
    REQUIRE(packets.size() == 2);
    const DecodedPacket plain = decoder.decode(from_hex(packets[0]));
    REQUIRE(plain.verdict == DecodeVerdict::good);
    CHECK_FALSE(plain.has_time);
    CHECK(packets[0].size() == 2 * 14);
    CHECK(std::vector<double>(plain.rows[0].numbers.begin(), plain.rows[0].numbers.end()) ==
          std::vector<double>{0x81, 1, -5});
    CHECK(plain.rows[0].texts[0] == "DEAD00");
    const DecodedPacket timed = decoder.decode(from_hex(packets[1]));
    REQUIRE(timed.verdict == DecodeVerdict::good);
    CHECK(timed.onboard_ticks_ns == 10'500'000'000);
    CHECK(timed.rows[0].numbers[0] == 42);
}

TEST_CASE("the support functions give the catalogue's checksum, LINK.md's frame and IEEE 754's rounding",
          "[firmware]") {
    const fs::path folder = work_folder("support");
    const std::string program = (folder / "support").string();
    run("gcc" + kWarnings + "-I" + source_path("").string() + " " +
        source_path("tests/protocol/firmware/support.c").string() + " -o " + program);
    const Bytes with_checksum = from_hex(link_example("hex packet-and-checksum"));
    run(program + " " + to_hex(std::span(with_checksum).first(with_checksum.size() - 2)) + " > " +
        (folder / "output").string());
    std::ifstream file(folder / "output");
    std::string checksum;
    std::string frame;
    file >> checksum >> frame;
    CHECK(checksum == "29B1"); // Catalogue of parametrised CRC algorithms, CRC-16/IBM-3740
    CHECK(frame == to_hex(from_hex(link_example("hex frame"))));
    std::uint32_t bits = 0;
    unsigned half = 0;
    int checked = 0;
    while (file >> bits >> half) {
        const auto value = std::bit_cast<float>(bits);
        const auto expected = Eigen::half(value);
        ++checked;
        if (std::isnan(value)) {
            REQUIRE(std::isnan(half_to_double(static_cast<std::uint16_t>(half))));
            continue;
        }
        INFO("float bits " << bits);
        REQUIRE(half == Eigen::numext::bit_cast<std::uint16_t>(expected));
        REQUIRE(half_to_double(static_cast<std::uint16_t>(half)) == static_cast<double>(static_cast<float>(expected)));
    }
    CHECK(checked == 0x20000);
}
