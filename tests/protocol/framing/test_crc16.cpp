// Source: Catalogue of parametrised CRC algorithms, entry CRC-16/IBM-3740, by way of tests/reference/crc.json (values
// computed with crccheck and crcmod).
#include <catch2/catch.hpp>

#include "protocol/framing/crc16.hpp"
#include "protocol/framing/crc16_folded.hpp"
#include "tests/protocol/bytes.hpp"

using namespace turnstone;

TEST_CASE("CRC-16/IBM-3740 gives the catalogue's and two libraries' values", "[crc16]") {
    const nlohmann::json& reference = read_reference("crc.json");
    std::map<std::string, Bytes> inputs;
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

TEST_CASE("the folded way agrees with the plain one at every length, alignment and register", "[crc16]") {
    if (!can_fold_crc16()) {
        WARN("this processor has no carry-less multiplication: nothing to compare");
        return;
    }
    std::mt19937 random(16);
    const Bytes noise = random_bytes(random, 1100, 10);
    const Bytes zeros(1100);
    const Bytes ones(1100, std::byte{0xFF});
    for (const Bytes* bytes : {&noise, &zeros, &ones}) {
        for (std::size_t size = kFoldBytesMin; size <= 1040; ++size) {
            const Exact part{std::span(*bytes).subspan(size % 17, size)};
            for (const std::uint16_t from :
                 {kCrc16Initial, std::uint16_t{0}, std::uint16_t{1}, static_cast<std::uint16_t>(random())})
                REQUIRE(crc16_folded(part.span(), from) == crc16_plain(part.span(), from));
        }
    }
}

TEST_CASE("a CRC can be computed in pieces", "[crc16]") {
    std::mt19937 random(17);
    const Bytes bytes = random_bytes(random, 128, 10);
    const std::uint16_t whole = crc16(bytes);
    for (std::size_t cut = 0; cut <= bytes.size(); ++cut)
        REQUIRE(crc16(std::span(bytes).subspan(cut), crc16(std::span(bytes).first(cut))) == whole);
}
