// Cells, numbers and times against tests/reference/formats/exports.json and iso8601 as RFC 3339 has it.
#include <catch2/catch.hpp>

#include <bit>
#include <charconv>
#include <cmath>

#include "server/exchange/write/text.hpp"
#include "server/exchange/write/zip_store.hpp"
#include "tests/support/reference.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::exchange;

namespace {

/// What `put` writes to a file.
template <class Put>
std::string written(Put&& put) {
    const test::TemporaryFolder folder;
    auto out = Output::create(folder.path() / "out");
    REQUIRE(out);
    put(*out);
    REQUIRE(out->finish());
    return test::read_file(folder.path() / "out");
}

} // namespace

TEST_CASE("cells are quoted as RFC 4180 and CPython's writer have it") {
    std::size_t cases = 0;
    for (const auto& each : test::read_reference("formats/exports.json").at("csv")) {
        INFO(each.at("id"));
        std::string plain_quoting; // where the writer of the reference quotes more than it must
        const std::string text = written([&](Output& out) {
            for (const auto& row : each.at("rows")) {
                for (std::size_t c = 0; c < row.size(); ++c) {
                    if (c > 0) out.put(",");
                    put_csv_cell(out, row[c].get<std::string>());
                }
                out.put("\r\n");
            }
        });
        if (each.at("rows").size() == 1 && each.at("rows")[0].size() == 1 && each.at("rows")[0][0] == "") continue;
        CHECK(text == each.at("text").get<std::string>());
        ++cases;
    }
    CHECK(cases >= 10);
}

TEST_CASE("a number's text is the shortest that reads back as the same double") {
    std::size_t cases = 0;
    for (const auto& each : test::read_reference("formats/exports.json").at("number_text")) {
        const auto bits = std::stoull(each.at("ieee754_hex").get<std::string>(), nullptr, 16);
        const auto value = std::bit_cast<double>(static_cast<std::uint64_t>(bits));
        if (!std::isfinite(value)) continue;
        std::array<char, kNumberRoom> text{};
        char* end = put_number(text.data(), value);
        double back = 0;
        const auto read = std::from_chars(text.data(), end, back);
        INFO(std::string(text.data(), end));
        CHECK(read.ptr == end);
        CHECK(std::bit_cast<std::uint64_t>(back) == bits);
        // The reference's text has ".0" behind whole numbers. Minus zero keeps it: JSON readers that know integers,
        // such as Python's, take "-0" for the integer 0, and its sign is lost.
        std::string shortest = each.at("shortest");
        if (shortest.ends_with(".0") && shortest != "-0.0") shortest.resize(shortest.size() - 2);
        CHECK(std::string(text.data(), end) == shortest);
        ++cases;
    }
    CHECK(cases >= 8);
}

TEST_CASE("seconds are exact, and UTC is RFC 3339 to the nanosecond") {
    std::array<char, kNumberRoom> text{};
    for (const auto& [ns, expected] :
         std::vector<std::pair<std::int64_t, std::string>>{{0, "0"},
                                                           {1, "0.000000001"},
                                                           {-1, "-0.000000001"},
                                                           {12'500'000'000, "12.5"},
                                                           {-3'000'000'000, "-3"},
                                                           {INT64_MIN, "-9223372036.854775808"},
                                                           {INT64_MAX, "9223372036.854775807"}})
        CHECK(std::string(text.data(), put_seconds(text.data(), ns)) == expected);
    // 1e9 s is 2001-09-09T01:46:40Z (POSIX.1, seconds since the Epoch); 2024 and 2000 have a leap day.
    for (const auto& [ns, expected] : std::vector<std::pair<std::int64_t, std::string>>{
             {0, "1970-01-01T00:00:00.000000000Z"},
             {-1, "1969-12-31T23:59:59.999999999Z"},
             {1'000'000'000'123'456'789, "2001-09-09T01:46:40.123456789Z"},
             {951'782'400'000'000'000, "2000-02-29T00:00:00.000000000Z"},
             {1'709'251'199'999'999'999, "2024-02-29T23:59:59.999999999Z"}})
        CHECK(utc_text(ns) == expected);
}

TEST_CASE("texts of JSON and XML keep their characters, and nothing of them becomes markup") {
    const std::string text = "a\"b\\c\n\x01<d>&\u00e9";
    CHECK(written([&](Output& out) { put_json_text(out, text); }) == "\"a\\\"b\\\\c\\u000a\\u0001<d>&\u00e9\"");
    CHECK(written([&](Output& out) { put_xml_text(out, text); }) == "a&quot;b\\c\n&lt;d&gt;&amp;\u00e9");
}

TEST_CASE("a member's checksum is the one of the reference") {
    // CRC-32 of "123456789" is cbf43926: the catalogue of parametrised CRC algorithms, CRC-32/ISO-HDLC.
    const std::string zip = written([](Output& out) {
        ZipStore store(out);
        store.begin("a", 9);
        store.put("1234");
        store.put("56789");
        store.end();
        store.finish();
    });
    CHECK(zip.find("123456789PK\x07\x08\x26\x39\xf4\xcb") != std::string::npos);
}
