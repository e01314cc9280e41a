// Lines against tests/reference/formats/text_lines.json: which are taken, and what they hold.
#include <catch2/catch.hpp>

#include <cmath>
#include <limits>

#include "protocol/framing/line_deframer.hpp"
#include "protocol/lines/line_decoder.hpp"
#include "protocol/lines/line_dictionary.hpp"
#include "protocol/lines/line_values.hpp"
#include "tests/protocol/bytes.hpp"

using namespace turnstone;

namespace {

/// A reference's columns: integers as counts, since a time in milliseconds may be any of them.
nlohmann::json dictionary_json(const nlohmann::json& profile) {
    nlohmann::json fields = nlohmann::json::array();
    for (std::size_t k = 0; k < profile.at("columns").size(); ++k) {
        const std::string type = profile.at("types")[k];
        nlohmann::json field = {{"name", profile.at("columns")[k]}};
        field["type"] = type == "int" ? "u64" : type == "float" ? "f64" : "text";
        if (type == "text") field["octets"] = 64;
        fields.push_back(field);
    }
    return {{"vehicle", "v"},
            {"version", "1"},
            {"packets", {{{"apid", 1}, {"name", "line"}, {"period_ms", 0}, {"fields", fields}}}}};
}

struct Read {
    DecodeVerdict verdict = DecodeVerdict::unused;
    FrameVerdict frame = FrameVerdict::good;
    std::vector<double> numbers;
    std::vector<std::string> texts;
    bool has_time = false;
    std::uint64_t ticks_ns = 0;
    std::uint16_t count = 0;
};

struct Reader {
    Reader(const nlohmann::json& dictionary, LineRules rules, char separator = ',', char decimal = '.',
           const std::string& packet = "")
        : about(dictionary_of(dictionary)), decoder(about, packet, separator, decimal), deframer(rules) {}
    Read operator()(std::string_view line) {
        Read out;
        const std::string text = std::string(line) + "\n";
        deframer.push(std::as_bytes(std::span(text)), [&](const Frame& frame) {
            out.frame = frame.verdict;
            if (frame.verdict != FrameVerdict::good) return;
            const Exact exact(frame.packet);
            const DecodedPacket decoded = decoder.decode(exact.span());
            out.verdict = decoded.verdict;
            out.has_time = decoded.has_time;
            out.ticks_ns = decoded.onboard_ticks_ns;
            out.count = decoded.sequence_count;
            for (const DecodedRow& row : decoded.rows) {
                out.numbers.assign(row.numbers.begin(), row.numbers.end());
                for (const std::string_view value : row.texts) out.texts.emplace_back(value);
            }
        });
        return out;
    }
    Dictionary about;
    LineDecoder decoder;
    LineDeframer deframer;
};

LineChecksum checksum_of(const std::string& name) {
    return name == "xor_star" ? LineChecksum::xor8 : name == "crc16_star" ? LineChecksum::crc16 : LineChecksum::none;
}

Reader reader_of(const nlohmann::json& profile) {
    return Reader(
        dictionary_json(profile),
        {.checksum = checksum_of(profile.at("checksum")), .bytes_max = profile.at("max_characters").get<std::size_t>()},
        profile.at("separator").get<std::string>()[0], profile.at("decimal").get<std::string>()[0]);
}

void check_number(double number, const nlohmann::json& expected) {
    // A column does not hold infinity, nor what is not a number.
    if (expected.is_null() || expected == "NaN" || expected == "Infinity" || expected == "-Infinity")
        CHECK(std::isnan(number));
    else if (expected == "-0")
        CHECK((number == 0 && std::signbit(number)));
    else if (expected.is_string())
        CHECK(number == std::stod(expected.get<std::string>()));
    else
        CHECK(number == expected.get<double>());
}

} // namespace

TEST_CASE("lines are taken or refused as the reference has it, with its values", "[lines]") {
    int checked = 0;
    for (const auto& entry : read_reference("formats/text_lines.json").at("lines")) {
        const auto id = entry.at("id").get<std::string>();
        INFO(id);
        const auto& profile = entry.at("profile");
        Reader read = reader_of(profile);
        if (!profile.value("first_line", true) || id == "bad_header_mid") (void)read("1,2,3,x");
        std::string line = entry.contains("line_hex") ? text_from_hex(entry.at("line_hex").get<std::string>())
                                                      : entry.at("line").get<std::string>();
        const Read result = read(line);
        const bool is_row = result.frame == FrameVerdict::good && result.verdict == DecodeVerdict::good;
        const bool is_header = entry.at("values") == "header";
        CHECK(is_row == (entry.at("accept").get<bool>() && !is_header));
        if (is_header) CHECK(result.verdict == DecodeVerdict::unused);
        ++checked;
        if (!is_row) continue;
        std::size_t numbers = 0, texts = 0;
        for (std::size_t k = 0; k < profile.at("types").size(); ++k)
            if (profile.at("types")[k] == "text")
                CHECK(result.texts.at(texts++) == entry.at("values")[k].get<std::string>());
            else
                check_number(result.numbers.at(numbers++), entry.at("values")[k]);
    }
    CHECK(checked > 60);
}

TEST_CASE("long numbers are read whole or refused", "[lines]") {
    for (const auto& entry : read_reference("formats/text_lines.json").at("long_numbers")) {
        INFO(entry.at("id").get<std::string>());
        // 'text' * N + 'text': as the file writes its lines.
        std::string line;
        std::string rule = entry.at("line_rule");
        for (std::size_t at = 0; (at = rule.find('\'', at)) != std::string::npos;) {
            const std::size_t end = rule.find('\'', at + 1);
            const std::string part = rule.substr(at + 1, end - at - 1);
            at = end + 1;
            const int times = rule.compare(at, 3, " * ") == 0 ? std::stoi(rule.substr(at + 3)) : 1;
            for (int k = 0; k < times; ++k) line += part;
        }
        const nlohmann::json profile = {{"columns", {"time_ms", "alt_m", "temp_c", "state"}},
                                        {"types", {"int", "float", "float", "text"}},
                                        {"separator", ","},
                                        {"decimal", "."},
                                        {"checksum", "none"},
                                        {"max_characters", entry.at("max_characters")}};
        const Read result = reader_of(profile)(line);
        const bool is_row = result.frame == FrameVerdict::good && result.verdict == DecodeVerdict::good;
        CHECK(is_row == entry.at("accept").get<bool>());
        if (is_row) CHECK(result.numbers.at(1) == entry.at("alt_m").get<double>());
    }
}

TEST_CASE("values are split as RFC 4180 has it, within one line", "[lines]") {
    int checked = 0;
    for (const auto& record : read_reference("formats/text_lines.json").at("records")) {
        const auto id = record.at("id").get<std::string>();
        std::string text = record.at("text");
        // A line has no line ends: of the file's records those of one line are taken.
        if (text.find_last_not_of("\r\n") != std::string::npos) text.resize(text.find_last_not_of("\r\n") + 1);
        if (text.find_first_of("\r\n") != std::string::npos) continue;
        INFO(id);
        LineValues values;
        REQUIRE(values.split(std::as_bytes(std::span(text)), record.at("separator").get<std::string>()[0]) ==
                record.at("accept").get<bool>());
        ++checked;
        if (!record.at("accept").get<bool>()) continue;
        std::vector<std::string> split;
        for (const std::string_view value : values.values()) split.emplace_back(value);
        CHECK(split == record.at("rows")[0].get<std::vector<std::string>>());
    }
    CHECK(checked >= 10);
}

TEST_CASE("a header line says which column is which, whenever it comes", "[lines]") {
    const nlohmann::json profile = {{"columns", {"time_ms", "alt_m", "temp_c"}}, {"types", {"int", "float", "float"}}};
    Reader read(dictionary_json(profile), {});
    CHECK(read("1,2,3").numbers == std::vector<double>{1, 2, 3});
    CHECK(read("Temp (C),note,Time-ms").verdict == DecodeVerdict::unused);
    const Read turned = read("21.5,ok,7");
    REQUIRE(turned.verdict == DecodeVerdict::good);
    CHECK(turned.numbers[0] == 7);
    CHECK(std::isnan(turned.numbers[1]));
    CHECK(turned.numbers[2] == 21.5);
    CHECK(read("1,2").verdict == DecodeVerdict::wrong_size);
    CHECK(read("# boot").verdict == DecodeVerdict::unused);
    CHECK(read("alpha,beta,gamma").verdict == DecodeVerdict::bad_value); // words, but no column's name
}

TEST_CASE("without a dictionary one is made of the names of the columns", "[lines]") {
    const std::vector<LineColumn> columns = {{"time_ms"}, {"alt_m"},       {"static_pressure"},
                                             {"vbat_v"},  {"state", true}, {"x"}};
    Reader read(nlohmann::json::parse(line_dictionary_json("proto", columns)), {});
    const auto& channels = read.about.tables.at(0).channels;
    REQUIRE(channels.size() == 6);
    CHECK(channels[1].field->unit == "m");
    CHECK(channels[2].role == Role::static_pressure);
    CHECK(channels[2].field->unit == "Pa");
    CHECK(channels[3].field->unit == "V");
    CHECK(channels[4].is_text());
    const Read row = read("2500,12.5,90420,7.4,armed,-1");
    REQUIRE(row.verdict == DecodeVerdict::good);
    CHECK(row.has_time);
    CHECK(row.ticks_ns == 2'500'000'000);
    CHECK(row.numbers == std::vector<double>{2.5, 12.5, 90420, 7.4, -1});
    CHECK(row.texts == std::vector<std::string>{"armed"});
    CHECK_FALSE(read(",12.5,90420,7.4,armed,-1").has_time);
    CHECK(read("-1,12.5,90420,7.4,armed,-1").verdict == DecodeVerdict::bad_value);
    CHECK(read("3000,1,1,1,a,1").count == 2);
}

TEST_CASE("a header and the line after it say what the columns are", "[lines]") {
    CHECK(columns_of_header("Time_ms;Alt;State", "10;1,5;BOOST", ';', ',') ==
          std::vector<LineColumn>{{"time_ms"}, {"alt"}, {"state", true}});
    CHECK(columns_of_header("a,b", "", ',', '.') == std::vector<LineColumn>{{"a"}, {"b"}});
    CHECK(columns_of_header("a,5", "1,2", ',', '.').empty());
    CHECK(columns_of_header("a,,c", "1,2,3", ',', '.').empty());
}

TEST_CASE("what of a dictionary cannot be a line is said", "[lines]") {
    const auto dictionary = dictionary_of(nlohmann::json::parse(R"({"vehicle": "v", "version": "1", "packets": [
        {"apid": 1, "name": "good", "period_ms": 0, "fields": [{"name": "a", "type": "f64"}]},
        {"apid": 2, "name": "axes", "period_ms": 0, "fields": [{"name": "a", "type": "f64", "count": 3}]},
        {"apid": 3, "name": "group", "period_ms": 0, "fields": [{"name": "g", "count": "to_end", "fields": [{"name": "a", "type": "u8"}]}]}]})"));
    for (const auto& [packet, mistakes] : std::vector<std::pair<std::string, std::size_t>>{
             {"", 0}, {"good", 0}, {"axes", 1}, {"group", 1}, {"none", 1}}) {
        INFO(packet);
        std::vector<Problem> problems;
        check_line_dictionary(dictionary, packet, "d", problems);
        CHECK(problems.size() == mistakes);
        LineDecoder decoder(dictionary, packet, ',', '.');
        const std::string line = "1";
        CHECK((decoder.decode(std::as_bytes(std::span(line))).verdict == DecodeVerdict::good) == (mistakes == 0));
    }
}
