// Which report becomes which row, and how copies are known: protocol/PACKET_RADIO.md. AX.25 frames dissected with
// tshark 4.0.17 by way of tests/reference/ax25.json.
#include <catch2/catch.hpp>

#include <cmath>
#include <numbers>

#include "protocol/framing/escaped_deframer.hpp"
#include "protocol/packet_radio/report_encoder.hpp"
#include "tests/protocol/framing/cut.hpp"
#include "tests/protocol/packet_radio/rows.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

constexpr const char* kOurs = "N0CALL-11";
constexpr const char* kPlace = "!4903.50N/07201.75W>";

double code_of(ReportKind kind) {
    return static_cast<double>(kind);
}
double code_of(ReportFault fault) {
    return static_cast<double>(fault);
}

} // namespace

TEST_CASE("names of stations are written as AX.25 has them, and read from settings", "[packet_radio]") {
    int checked = 0;
    for (const auto& entry : read_reference("ax25.json").at("addresses")) {
        INFO(entry.at("id").get<std::string>());
        const Bytes address = from_hex(entry.at("encoded_hex").get<std::string>());
        std::array<char, kAx25NameMost> text{};
        const std::size_t size = write_ax25_name(
            std::span<const std::byte, kAx25AddressBytes>(address.data(), kAx25AddressBytes), text.data());
        const int ssid = entry.at("ssid");
        const std::string name =
            entry.at("callsign").get<std::string>() + (ssid == 0 ? "" : "-" + std::to_string(ssid));
        CHECK(std::string(text.data(), size) == name);
        CHECK(ax25_name(name) == name);
        ++checked;
    }
    CHECK(checked == 10);
    CHECK(ax25_name("n0call-0") == "N0CALL");
    for (const char* wrong : {"", "-1", "N0CALLX", "N0CALL-16", "N0CALL-", "N0 CALL", "N0CALL-1A", "N0CALL-111"})
        CHECK_FALSE(ax25_name(wrong));
}

TEST_CASE("frames of the reference are taken apart, whole, from a KISS line, and written alike", "[packet_radio]") {
    EscapedFormat format;
    format.stuffing = Stuffing::kiss;
    format.ax25 = Ax25Head::kept;
    RadioReader read(kOurs);
    Bytes stream;
    for (const auto& entry : read_reference("ax25.json").at("frames")) {
        INFO(entry.at("id").get<std::string>());
        const Bytes link = from_hex(entry.at("kiss_frame_hex").get<std::string>());
        const Bytes frame = from_hex(entry.at("frame_hex").get<std::string>());
        stream.insert(stream.end(), link.begin(), link.end());
        const Cut seen = cut(EscapedDeframer(format), link);
        REQUIRE(seen.frames.size() == 1);
        CHECK(seen.frames[0].verdict == FrameVerdict::good);
        CHECK(seen.frames[0].packet == frame);
        const auto name = [](const nlohmann::json& call, const nlohmann::json& ssid) {
            return call.get<std::string>() + (ssid == 0 ? "" : "-" + std::to_string(ssid.get<int>()));
        };
        const std::string source = name(entry.at("src"), entry.at("src_ssid"));
        const std::string destination = name(entry.at("dest"), entry.at("dest_ssid"));
        std::vector<std::string> path;
        std::string shown;
        bool repeated = false;
        for (const auto& each : entry.at("path")) {
            const bool has = each.at("has_been_repeated");
            path.push_back(name(each.at("call"), each.at("ssid")) + (has ? "*" : ""));
            shown += (shown.empty() ? "" : ",") + path.back();
            repeated = repeated || has;
        }
        const RadioRow row = read.frame(frame);
        REQUIRE(row.verdict == DecodeVerdict::good);
        CHECK(row.texts.at("path") == shown);
        CHECK(row.is_repeated == repeated);
        if (row.table == "heard") {
            CHECK(row.texts.at("station") == source);
            CHECK(row.texts.at("destination") == destination);
        }
        const Bytes information = from_hex(entry.at("info_hex").get<std::string>());
        if (entry.at("command").get<bool>())
            CHECK(encode_ax25_ui(destination, source, path, text_of(information)) == frame);
    }
    check_splits(EscapedDeframer(format), stream);
}

TEST_CASE("our station's positions are a vehicle's, everybody else's are heard", "[packet_radio]") {
    RadioReader read(kOurs);
    const RadioRow ours =
        read(kOurs, "/092345h4903.50N/07201.75W>088/036/A=001234 up", "APZRKT", {"WIDE1-1*", "WIDE2-1"});
    REQUIRE(ours.table == "position");
    CHECK(ours["latitude"] == Approx(49.0583333));
    CHECK(ours["longitude"] == Approx(-72.0291667));
    CHECK(ours["height_msl"] == Approx(376.1232));
    CHECK(ours["speed"] == Approx(18.52));
    CHECK(ours["velocity_east"] == Approx(18.52 * std::sin(88 * std::numbers::pi / 180)));
    CHECK(ours["velocity_north"] == Approx(18.52 * std::cos(88 * std::numbers::pi / 180)));
    CHECK(ours["fix_dimensions"] == 3);
    CHECK(ours["utc_time_of_day"] == 9 * 3600 + 23 * 60 + 45);
    CHECK(ours["format"] == static_cast<double>(PositionFormat::uncompressed));
    // A hundredth of a minute is 18.52 m.
    CHECK(ours["accuracy_horizontal"] == Approx(std::hypot(18.52 / std::sqrt(3.0), 3)));
    CHECK(ours.texts.at("symbol") == "/>");
    CHECK(ours.texts.at("time") == "092345h");
    CHECK(ours.texts.at("path") == "WIDE1-1*,WIDE2-1");
    CHECK(ours.texts.at("comment") == "/A=001234 up");
    CHECK(read(kOurs, kPlace)["fix_dimensions"] == 2);
    CHECK(read(kOurs, "!4903.5 N/07201.7 W>/A=001234")["fix_dimensions"] == 1); // not where it is
    CHECK(read(kOurs, "!0000.00N/00000.00E>/A=001234")["fix_dimensions"] == 1);
    CHECK(read(kOurs, "!4903.50N/07201.75W>000/000")["velocity_east"] == 0);
    CHECK(std::isnan(read(kOurs, "!4903.50N/07201.75W>000/010")["velocity_east"]));
    CHECK(std::isnan(read(kOurs, "=/5L!!<*e7>7P[")["accuracy_horizontal"])); // finer than a receiver knows

    for (const char* other : {"N0CALL", "N0CALL-1", "N0CALM-11", "N1CALL-11"}) {
        const RadioRow row = read(other, kPlace);
        CHECK(row.table == "heard");
        CHECK(row.texts.at("station") == other);
        CHECK(row["kind"] == code_of(ReportKind::position));
        CHECK(row["latitude"] == Approx(49.0583333));
    }
    // Of ours, what is not a position of its own; and what cannot be.
    const RadioRow object = read(kOurs, ";LEADER   *092345z4903.50N/07201.75W>");
    CHECK(object.table == "heard");
    CHECK(object["kind"] == code_of(ReportKind::object));
    CHECK(object["alive"] == 1);
    CHECK(object.texts.at("name") == "LEADER");
    const RadioRow wrong = read(kOurs, "!4960.50N/07201.75W>");
    CHECK(wrong.table == "heard");
    CHECK(wrong["refused"] == code_of(ReportFault::latitude));
    CHECK(std::isnan(wrong["latitude"]));
    CHECK(std::isnan(wrong["alive"]));
    CHECK(wrong.texts.at("text") == "!4960.50N/07201.75W>");
    // Nobody is ours when nobody is named.
    RadioReader nobody("");
    CHECK(nobody(kOurs, kPlace).table == "heard");
    // Texts are valid UTF-8, and no longer than the standard's information field.
    CHECK(read(kOurs, kPlace + std::string("\xFF\xC3\xA9")).texts.at("comment") == "\uFFFD\u00E9");
    CHECK(read("N0CALL", ">" + std::string(900, 'x')).texts.at("text").size() == 256);
    // Another protocol than "none", a frame cut short.
    Bytes frame = encode_ax25_ui("APZRKT", kOurs, {}, kPlace);
    frame[15] = std::byte{0xCF};
    CHECK(read.frame(frame).verdict == DecodeVerdict::unused);
    CHECK(read.frame({}).verdict == DecodeVerdict::unused);
}

TEST_CASE("frames in a third party's are their first sender's", "[packet_radio]") {
    // From memory, chapter 17.
    RadioReader read(kOurs);
    const RadioRow ours = read("N0GATE", "}N0CALL-11>APZRKT,TCPIP,N0GATE*:" + std::string(kPlace), "APRS");
    REQUIRE(ours.table == "position");
    CHECK(ours.is_repeated);
    CHECK(ours.texts.at("gateway") == "N0GATE");
    const RadioRow item = read("N0GATE", "}N0ITEM>APRS,TCPIP,N0GATE*:)AID #2!4903.50N/07201.75WA");
    CHECK(item["kind"] == code_of(ReportKind::item));
    CHECK(item.texts.at("station") == "N0ITEM");
    CHECK(item.texts.at("name") == "AID #2");
    // Mic-E has its latitude in the inner destination.
    const SentReport sent =
        encode_report({.format = PositionFormat::mic_e, .latitude_deg = 33.5, .longitude_deg = -112.25}, "");
    const RadioRow mic_e = read("N0GATE", "}N0CALL-11>" + sent.destination + ",TCPIP*:" + sent.information, "APRS");
    REQUIRE(mic_e.table == "position");
    CHECK(mic_e["latitude"] == Approx(33.5));
    // One in another.
    const RadioRow twice = read("N0B", "}N0A>APRS*:}N0CALL-11>APZRKT,TCPIP*:" + std::string(kPlace));
    CHECK(twice.table == "position");
    CHECK(twice.texts.at("gateway") == "N0B");
    for (const char* wrong : {"}", "}N0CALL-11", "}N0CALL-11>APZRKT", "}>APRS:x", "}N0CALL-11>:x",
                              "}N0CALL-11>,TCPIP:x", "}N0CALL-1111>APRS:x", "}N0 CALL>APRS:x"}) {
        INFO(wrong);
        CHECK(read("N0GATE", wrong)["refused"] == code_of(ReportFault::header));
    }
}

TEST_CASE("a copy says the same whatever its way", "[packet_radio]") {
    RadioReader read(kOurs);
    const RadioRow first = read(kOurs, kPlace, "APZRKT-3", {"WIDE1-1", "WIDE2-1"});
    CHECK_FALSE(first.is_repeated);
    for (const RadioRow& copy : {read(kOurs, kPlace, "APZRKT-2", {"N0DIGI*", "WIDE2-1"}),
                                 read(kOurs, std::string(kPlace) + " \r", "APZRKT", {"WIDE1-1*"}),
                                 read("N0GATE", "}N0CALL-11>APZRKT,TCPIP,N0GATE*:" + std::string(kPlace))}) {
        CHECK(copy.said == first.said);
        CHECK(copy.is_repeated);
    }
    CHECK(read(kOurs, "!4903.51N/07201.75W>").said != first.said);
    CHECK(read(kOurs, kPlace, "APZRKS").said != first.said);
    CHECK(read("N0CALL-1", kPlace).said != first.said);
}

TEST_CASE("telemetry has raw values, and others once its sender gave coefficients", "[packet_radio]") {
    RadioReader read(kOurs);
    const std::string report = "T#005,199,000,255,073,123,01101001";
    const RadioRow before = read(kOurs, report);
    REQUIRE(before.table == "telemetry");
    CHECK(before["sequence"] == 5);
    CHECK(before["analog_1"] == 199);
    CHECK(before["bit_2"] == 1);
    CHECK(std::isnan(before["value_1"]));
    CHECK(read("N0CALL", report)["kind"] == code_of(ReportKind::telemetry));
    // From memory, chapter 13, with another callsign. Only our station names our telemetry.
    CHECK(read("N0CALL", ":N0CALL-11:EQNS.0,9,9").table == "heard");
    CHECK(read(kOurs, ":N0CALL   :EQNS.0,9,9").table == "heard");
    const RadioRow names = read(kOurs, ":N0CALL-11:PARM.Battery,Btemp,ATemp,Pres,Alt,Camra,Chut,Sun,10m,ATV");
    REQUIRE(names.table == "telemetry_names");
    CHECK(names.texts.at("kind") == "PARM");
    CHECK(names.texts.at("text") == "Battery,Btemp,ATemp,Pres,Alt,Camra,Chut,Sun,10m,ATV");
    CHECK(read(kOurs, ":N0CALL-11:EQNS.0,5.2,0,0,.53,-32,3,4.39,49,-32,3,18").table == "telemetry_names");
    const RadioRow after = read(kOurs, report);
    CHECK(after["value_1"] == Approx(5.2 * 199));
    CHECK(after["value_2"] == Approx(-32));
    CHECK(after["value_3"] == Approx(3 * 255 * 255 + 4.39 * 255 + 49));
    CHECK(after["value_5"] == 123); // not given: as it is
}

TEST_CASE("a dictionary of one's own for reports keeps the columns it has", "[packet_radio]") {
    auto dictionary = nlohmann::json::parse(radio_dictionary_json("tracker"));
    std::vector<Problem> problems;
    check_radio_dictionary(dictionary_of(dictionary), "d", problems);
    CHECK(problems.empty());
    auto& packets = dictionary.at("packets");
    packets = nlohmann::json::array({packets[0], packets[1]});
    auto& battery = packets[1].at("fields")[1];
    REQUIRE(battery.at("name") == "analog_1");
    battery["unit"] = "V";
    battery["role"] = "battery_voltage";
    battery["calibration"] = {{"linear", {{"gain", 0.05}, {"offset", 0}}}};
    check_radio_dictionary(dictionary_of(dictionary), "d", problems);
    CHECK(problems.empty());
    RadioReader read(dictionary, kOurs);
    CHECK(read(kOurs, "T#005,100,000,255,073,123,01101001")["analog_1"] == Approx(5));
    // Without "heard": what is not ours is not used, and what ours says wrongly is undecodable.
    CHECK(read("N0CALL", kPlace).verdict == DecodeVerdict::unused);
    CHECK(read(kOurs, ">status").verdict == DecodeVerdict::unused);
    CHECK(read(kOurs, "!4960.50N/07201.75W>").verdict == DecodeVerdict::bad_value);
    packets[0].at("fields").push_back({{"name", "gust"}, {"type", "f64"}});
    packets[0].at("fields")[3]["unit"] = "km";
    packets[0].at("fields")[3].erase("role");
    check_radio_dictionary(dictionary_of(dictionary), "d", problems);
    REQUIRE(problems.size() == 2);
    CHECK_THAT(to_string(problems), Catch::Contains("position.gust") && Catch::Contains("height_msl"));
    problems.clear();
    packets = nlohmann::json::parse(
        R"([{"apid": 1, "name": "other", "period_ms": 0, "fields": [{"name": "x", "type": "u8"}]}])");
    check_radio_dictionary(dictionary_of(dictionary), "d", problems);
    CHECK(problems.size() == 1);
}
