// Source: Catalogue of parametrised CRC algorithms, entry CRC-16/IBM-3740, by way of tests/reference/crc.json (values
// computed with crccheck and crcmod).
#include <catch2/catch.hpp>

#include "protocol/framing/crc16.hpp"
#include "tests/protocol/octets.hpp"

using namespace turnstone;

TEST_CASE("CRC-16/IBM-3740 gives the catalogue's and two libraries' values", "[crc16]") {
    const nlohmann::json reference = read_json("tests/reference/crc.json");
    std::map<std::string, Octets> inputs;
    for (const auto& input : reference["inputs"])
        inputs[input["id"].get<std::string>()] = from_hex(input["hex"].get<std::string>());
    int checked = 0;
    for (const auto& vector : reference["vectors"]) {
        if (vector["crc"] != "CRC-16/IBM-3740") continue;
        INFO(vector["id"]);
        const Exact input(inputs.at(vector["input_id"].get<std::string>()));
        const auto expected = static_cast<std::uint16_t>(std::stoul(vector["value"].get<std::string>(), nullptr, 16));
        CHECK(crc16(input.span()) == expected);
        CHECK(crc16_plain(input.span()) == expected);
        CHECK(crc16_sliced(input.span()) == expected);
        ++checked;
    }
    CHECK(checked == 13);
    int codewords = 0;
    for (const auto& codeword : reference["codewords"]) {
        if (codeword["id"] != "CRC-16/IBM-3740:codeword") continue;
        CHECK(crc16(from_hex(codeword["codeword_hex"].get<std::string>())) == 0);
        ++codewords;
    }
    CHECK(codewords == 1);
}

TEST_CASE("the fast ways agree with the plain one at every length, alignment and register", "[crc16]") {
    std::mt19937 random(16);
    const Octets octets = random_octets(random, 300, 10);
    for (std::size_t size = 0; size <= 200; ++size) {
        const std::size_t start = size % 17;
        const Exact part{std::span(octets).subspan(start, size)};
        const auto from = static_cast<std::uint16_t>(random());
        const std::uint16_t expected = crc16_plain(part.span(), from);
        REQUIRE(crc16(part.span(), from) == expected);
        REQUIRE(crc16_sliced(part.span(), from) == expected);
    }
}

TEST_CASE("a CRC can be computed in pieces", "[crc16]") {
    std::mt19937 random(17);
    const Octets octets = random_octets(random, 128, 10);
    const std::uint16_t whole = crc16(octets);
    for (std::size_t cut = 0; cut <= octets.size(); ++cut)
        REQUIRE(crc16(std::span(octets).subspan(cut), crc16(std::span(octets).first(cut))) == whole);
}
