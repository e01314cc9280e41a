#include <catch2/catch.hpp>

#include <map>

#include "protocol/framing/crc.hpp"
#include "protocol/framing/crc16.hpp"
#include "tests/protocol/bytes.hpp"

using namespace turnstone;

namespace {

std::uint32_t hexadecimal(const nlohmann::json& digits) {
    return static_cast<std::uint32_t>(std::stoul(digits.get<std::string>(), nullptr, 16));
}

} // namespace

TEST_CASE("each kind of the catalogue has its parameters and its check value", "[crc]") {
    // The check values that the reference file does not have: Catalogue of parametrised CRC algorithms, from memory.
    std::map<std::string, std::uint32_t> checks = {
        {"CRC-16/IBM-SDLC", 0x906E}, {"CRC-16/KERMIT", 0x2189}, {"CRC-32/ISCSI", 0xE3069283}};
    for (const auto& kind : read_reference("formats/binary_frames.json").at("crc_kinds")) {
        const auto name = kind.at("id").get<std::string>();
        INFO(name);
        const auto known = crc_kind_from_text(name);
        REQUIRE(known);
        CHECK(known->width == kind.at("width_bits"));
        CHECK(known->polynomial == hexadecimal(kind.at("poly")));
        CHECK(known->initial == hexadecimal(kind.at("init")));
        CHECK(known->final_xor == hexadecimal(kind.at("xorout")));
        CHECK(known->reflected == kind.at("refin").get<bool>());
        checks[name] = hexadecimal(kind.at("check"));
    }
    CHECK(checks.size() == kCrcKinds.size());
    const std::string digits = "123456789";
    for (const CrcKind& kind : kCrcKinds) {
        INFO(kind.name);
        CHECK(Crc(kind).of(std::as_bytes(std::span(digits))) == checks.at(std::string(kind.name)));
    }
}

TEST_CASE("the general way agrees with the one of the default framing", "[crc]") {
    std::mt19937 random(3);
    const Crc crc(*crc_kind_from_text("CRC-16/IBM-3740"));
    for (std::size_t size = 0; size < 80; ++size) {
        const Bytes bytes = random_bytes(random, size, 20);
        CHECK(crc.of(bytes) == crc16_plain(bytes));
    }
}

TEST_CASE("a kind can be described by hand", "[crc]") {
    const auto by_hand = crc_kind_from_text("16:8005:FFFF:yes:0000");
    REQUIRE(by_hand);
    const std::string digits = "123456789";
    CHECK(Crc(*by_hand).of(std::as_bytes(std::span(digits))) == 0x4B37); // CRC-16/MODBUS
    for (const char* wrong :
         {"", "CRC-16", "16:8005:FFFF:yes", "16:8005:FFFF:yes:0000:1", "12:8005:0:no:0", "16:0:0:no:0", "8:1FF:0:no:0",
          "16:8005:FFFF:maybe:0", "16:80x5:FFFF:yes:0", "40:1:0:no:0"}) {
        INFO(wrong);
        CHECK_FALSE(crc_kind_from_text(wrong));
    }
}
