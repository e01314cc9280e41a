// Source: CCSDS 133.0-B-2, 4.1.3 (packets dissected with tshark 4.0.17) and CCSDS 301.0-B-4, 3.2 (CUC), by way of
// tests/reference/ccsds.json.
#include <set>

#include <catch2/catch.hpp>

#include "protocol/packet/space_packet.hpp"
#include "protocol/packet/time_code.hpp"
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

TEST_CASE("any six bytes survive decoding and encoding; fewer are not a header", "[space_packet]") {
    std::mt19937 random(5);
    for (int i = 0; i < 2000; ++i) {
        const Bytes bytes = random_bytes(random, kPrimaryHeaderBytes, 20);
        REQUIRE(to_hex(encode_primary_header(*decode_primary_header(bytes))) == to_hex(bytes));
    }
    for (std::size_t size = 0; size < kPrimaryHeaderBytes; ++size)
        CHECK_FALSE(decode_primary_header(Exact(Bytes(size)).span()));
}

TEST_CASE("CUC time codes give their seconds", "[time_code]") {
    int checked = 0;
    const nlohmann::json& reference = read_reference("ccsds.json");
    for (const auto& time : reference["time_codes"]) {
        if (time["code"] != "CUC" || time["basic_octets"] > 4 || time["fraction_octets"] > 3) continue;
        INFO(time["id"]);
        TimeCode code{TimeCode::Kind::cuc, time["basic_octets"], time["fraction_octets"]};
        const Bytes with_p_field = from_hex(time["encoded_hex"].get<std::string>());
        const std::size_t p_field_bytes = from_hex(time["p_field"].get<std::string>()).size();
        const auto bytes = std::span(with_p_field).subspan(p_field_bytes);
        REQUIRE(bytes.size() == code.bytes());
        // numerator / denominator seconds, rounded to the nearest nanosecond in 128 bits
        const auto numerator = static_cast<unsigned __int128>(time["seconds_numerator"].get<std::uint64_t>());
        const auto denominator = time["seconds_denominator"].get<std::uint64_t>();
        const auto expected_ns =
            static_cast<std::uint64_t>((numerator * 1'000'000'000U + denominator / 2) / denominator);
        CHECK(decode_time_ns(code, bytes) == expected_ns);
        const auto encoded = encode_time_ns(code, expected_ns);
        CHECK(to_hex(std::span(encoded).first(code.bytes())) == to_hex(bytes));
        ++checked;
    }
    CHECK(checked >= 4);
}

TEST_CASE("counters reach their last value and start again at zero", "[time_code]") {
    const TimeCode ms{};
    CHECK(decode_time_ns(ms, from_hex("FFFFFFFF")) == 4'294'967'295'000'000ULL);
    CHECK(ms.rollover_ns() == 4'294'967'296'000'000.0);
    const auto after_last = encode_time_ns(ms, 4'294'967'296'000'000ULL);
    CHECK(to_hex(std::span(after_last).first(4)) == "00000000");
    for (unsigned coarse = 1; coarse <= 4; ++coarse) {
        for (unsigned fine = 0; fine <= 3; ++fine) {
            const TimeCode code{TimeCode::Kind::cuc, coarse, fine};
            const Bytes last(code.bytes(), std::byte{0xFF});
            const std::uint64_t ns = decode_time_ns(code, last);
            INFO(coarse << "." << fine);
            // one fraction below 256^coarse seconds, rounded
            const double least_step_ns = 1e9 / static_cast<double>(1ULL << 8U * fine);
            CHECK(std::abs(code.rollover_ns() - static_cast<double>(ns) - least_step_ns) <= 1024.0);
            const auto again = encode_time_ns(code, ns);
            CHECK(to_hex(std::span(again).first(code.bytes())) == to_hex(last));
        }
    }
}
