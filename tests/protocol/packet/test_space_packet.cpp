// Source: CCSDS 133.0-B-2, 4.1.3 (packets dissected with tshark 4.0.17), by way of tests/reference/ccsds.json.
#include <set>

#include <catch2/catch.hpp>

#include "protocol/packet/space_packet.hpp"
#include "tests/protocol/bytes.hpp"

using namespace turnstone;

TEST_CASE("primary headers decode and encode as the dissected packets", "[space_packet]") {
    int checked = 0;
    std::set<int> flags_seen;
    const nlohmann::json& reference = read_reference("ccsds.json");
    for (const auto& packet : reference["space_packets"]) {
        INFO(packet["id"]);
        const Bytes bytes = from_hex(packet["packet_hex"].get<std::string>());
        const auto header = decode_primary_header(bytes);
        REQUIRE(header);
        CHECK(header->packet_version_number == packet["version"]);
        CHECK(header->telecommand == (packet["type"] == 1));
        CHECK(header->secondary_header_flag == (packet["sec_hdr_flag"] == 1));
        CHECK(header->apid == packet["apid"]);
        CHECK(static_cast<int>(header->sequence_flags) == packet["seq_flags"]);
        CHECK(header->sequence_count == packet["seq_count"]);
        CHECK(header->packet_data_length == packet["data_length_field"]);
        CHECK(to_hex(encode_primary_header(*header)) == packet["header_hex"]);
        flags_seen.insert(static_cast<int>(header->sequence_flags));
        ++checked;
    }
    CHECK(checked >= 8);
    CHECK(flags_seen.size() == 4);
}

TEST_CASE("any six bytes survive decoding and encoding, and fewer are not a header", "[space_packet]") {
    std::mt19937 random(5);
    for (int i = 0; i < 2000; ++i) {
        const Bytes bytes = random_bytes(random, kPrimaryHeaderBytes, 20);
        REQUIRE(to_hex(encode_primary_header(*decode_primary_header(bytes))) == to_hex(bytes));
    }
    for (std::size_t size = 0; size < kPrimaryHeaderBytes; ++size)
        CHECK_FALSE(decode_primary_header(Exact(Bytes(size)).span()));
}
