// What reports say. Outside values: tests/reference/ax25.json (the worked examples of the APRS Protocol
// Reference 1.0.1, chapters 6 to 9, with degrees by arithmetic; who checked each stands there). Examples of other
// chapters are from memory, and are marked; where arithmetic confirms one, it is said.
#include <catch2/catch.hpp>

#include <cmath>

#include "protocol/packet_radio/position_text.hpp"
#include "protocol/packet_radio/report.hpp"
#include "protocol/packet_radio/report_encoder.hpp"
#include "tests/protocol/bytes.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

constexpr double kHundredth_deg = 0.01 / 60;

/// Views are of `information`.
Report report_of(std::string_view information, std::string_view destination = "APZRKT") {
    return read_report(information, destination);
}

std::string text_of_symbol(const ReportPosition& position) {
    return {position.symbol.data(), position.symbol.size()};
}

} // namespace

TEST_CASE("positions of the reference: places, heights, motion, times, comments", "[packet_radio]") {
    int checked = 0;
    for (const auto& entry : read_reference("ax25.json").at("aprs_positions")) {
        INFO(entry.at("id").get<std::string>());
        const std::string information = entry.at("info");
        const Report report = report_of(information);
        REQUIRE(report.fault == ReportFault::none);
        CHECK(report.kind == ReportKind::position);
        const ReportPosition& at = report.position;
        CHECK(at.format == PositionFormat::uncompressed);
        CHECK(at.latitude_deg == Approx(entry.at("lat_deg").get<double>()).margin(1e-9));
        CHECK(at.longitude_deg == Approx(entry.at("lon_deg").get<double>()).margin(1e-9));
        CHECK(at.ambiguity == 0);
        CHECK(text_of_symbol(at) ==
              entry.at("symbol_table").get<std::string>() + entry.at("symbol_code").get<std::string>());
        const auto number = [&](const char* key) { return entry.contains(key) ? entry.at(key).get<double>() : kNaN; };
        const auto same = [](double is, double wanted) {
            return std::isnan(wanted) ? std::isnan(is) : std::abs(is - wanted) < 1e-6;
        };
        CHECK(same(at.height_msl_m, number("altitude_m")));
        CHECK(same(at.course_deg, number("course_deg")));
        CHECK(same(at.speed_mps, number("speed_knots") * 1852 / 3600));
        const std::string kind = entry.value("time_kind", "");
        CHECK(report.time.empty() == kind.empty());
        CHECK(same(report.utc_time_of_day_s, kind == "hms zulu" ? 23 * 3600 + 45 * 60 + 17 : kNaN));
        if (entry.at("id") != "altitude_southeast") CHECK(report.text == entry.at("comment").get<std::string>());
        ++checked;
    }
    CHECK(checked == 9);
}

TEST_CASE("compressed positions of the reference", "[packet_radio]") {
    int checked = 0;
    for (const auto& entry : read_reference("ax25.json").at("aprs_compressed")) {
        INFO(entry.at("id").get<std::string>());
        const ReportPosition at = report_of(entry.at("info").get_ref<const std::string&>()).position;
        CHECK(at.format == PositionFormat::compressed);
        CHECK(at.latitude_deg == Approx(entry.at("lat_deg").get<double>()).margin(1e-6));
        CHECK(at.longitude_deg == Approx(entry.at("lon_deg").get<double>()).margin(1e-6));
        CHECK(text_of_symbol(at) ==
              entry.at("symbol_table").get<std::string>() + entry.at("symbol_code").get<std::string>());
        CHECK(at.is_current);
        if (entry.contains("course_deg")) {
            CHECK(at.course_deg == entry.at("course_deg").get<double>());
            CHECK(at.speed_mps * 3600 / 1852 == Approx(entry.at("speed_knots").get<double>()).margin(5e-4));
            CHECK(std::isnan(at.height_msl_m));
        } else {
            CHECK(at.height_msl_m / 0.3048 == Approx(entry.at("altitude_ft").get<double>()).margin(0.01));
            CHECK(std::isnan(at.speed_mps));
        }
        ++checked;
    }
    CHECK(checked == 2);
    // From memory, chapter 9: no more than the place; a pre-calculated radio range; an overlay digit 3 as d.
    for (const char* text : {"=/5L!!<*e7> sTComment", "=/5L!!<*e7>{?!", "@092345z/5L!!<*e7>{?!", "!d5L!!<*e7> sT"}) {
        INFO(text);
        const Report report = report_of(text);
        REQUIRE(report.fault == ReportFault::none);
        CHECK(report.position.latitude_deg == Approx(49.5).margin(1e-6));
        CHECK(report.position.longitude_deg == Approx(-72.75).margin(1e-5));
        CHECK(std::isnan(report.position.speed_mps));
        CHECK(std::isnan(report.position.height_msl_m));
    }
    CHECK(report_of("=/5L!!<*e7> sTComment").text == "Comment");
    CHECK(text_of_symbol(report_of("!d5L!!<*e7> sT").position) == "3>");
}

TEST_CASE("digits left out leave the middle of what they leave open, and a step as large", "[packet_radio]") {
    const auto& entry = read_reference("ax25.json").at("aprs_ambiguity").at(0);
    const ReportPosition at = report_of(entry.at("info").get_ref<const std::string&>()).position;
    CHECK(at.ambiguity == 4);
    CHECK(at.step_deg == Approx(1));
    CHECK(std::abs(at.latitude_deg - entry.at("lat_field_deg").get<double>() - 0.5) < 1e-9);
    CHECK(std::abs(at.longitude_deg - entry.at("lon_field_deg").get<double>() + 0.5) < 1e-9);
    struct Case {
        const char* text;
        unsigned digits;
        double latitude_min, longitude_min, step_min;
    };
    for (const Case& c : {Case{"!4903.5 N/07201.7 W-", 1, 3.55, 1.75, 0.1},
                          Case{"!4903.  N/07201.  W-", 2, 3.5, 1.5, 1}, Case{"!490 .  N/0720 .  W-", 3, 5, 5, 10},
                          // One of both: it holds for both (chapter 6).
                          Case{"!4903.  N/07201.75W-", 2, 3.5, 1.5, 1}}) {
        INFO(c.text);
        const ReportPosition got = report_of(c.text).position;
        CHECK(got.ambiguity == c.digits);
        CHECK(got.latitude_deg == Approx(49 + c.latitude_min / 60).margin(1e-9));
        CHECK(got.longitude_deg == Approx(-72 - c.longitude_min / 60).margin(1e-9));
        CHECK(got.step_deg * 60 == Approx(c.step_min));
    }
}

TEST_CASE("what cannot be is refused by the part that cannot be", "[packet_radio]") {
    for (const auto& entry : read_reference("ax25.json").at("aprs_invalid")) {
        INFO(entry.at("id").get<std::string>());
        const Report report = report_of(entry.at("info").get_ref<const std::string&>());
        const std::string id = entry.at("id");
        CHECK(report.fault == (id == "truncated" ? ReportFault::cut_short
                               : id == "lon_181" ? ReportFault::longitude
                                                 : ReportFault::latitude));
        CHECK(std::isnan(report.position.latitude_deg));
        CHECK(std::isnan(report.position.longitude_deg));
    }
    struct Case {
        const char* text;
        ReportFault fault;
    };
    for (const Case& c :
         {Case{"", ReportFault::empty},
          Case{"&", ReportFault::type},
          Case{"%Agrelo", ReportFault::type},
          Case{"Tracker", ReportFault::type},
          Case{"!", ReportFault::cut_short},
          Case{"!490 3.50N/07201.75W-", ReportFault::latitude},
          Case{"!4903.5 N/072 1.75W-", ReportFault::longitude},
          Case{"!4903,50N/07201.75W-", ReportFault::latitude},
          Case{"!4903.50N/0720175W--", ReportFault::longitude},
          Case{"!4903.50N/ 7201.75W-", ReportFault::longitude},
          Case{"/092345x4903.50N/07201.75W>", ReportFault::time},
          Case{"/0923", ReportFault::cut_short},
          Case{"/092345z", ReportFault::cut_short},
          Case{"@4903.50N/07201.75W>", ReportFault::time},
          Case{"=/5L!!<*e7>7", ReportFault::cut_short},
          Case{"=/{{{{<*e7>7P[", ReportFault::latitude},
          Case{"=/5L!!{{{{>7P[", ReportFault::longitude},
          Case{"=/5L \x7F<*e7>7P[", ReportFault::latitude},
          Case{";LEADER   x092345z4903.50N/07201.75W>", ReportFault::name},
          Case{";LEADER", ReportFault::cut_short},
          Case{";         *092345z4903.50N/07201.75W>", ReportFault::name},
          Case{")A!4903.50N/07201.75W>", ReportFault::name},
          Case{")ABCDEFGHIJ!4903.50N/07201.75W>", ReportFault::name},
          Case{")ABC", ReportFault::cut_short},
          Case{":SHORT", ReportFault::cut_short},
          Case{":N0CALL-11 x", ReportFault::name},
          Case{"T#ABC,1", ReportFault::telemetry},
          Case{"T#005", ReportFault::cut_short},
          Case{"T#005,1x", ReportFault::telemetry},
          Case{"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*48", ReportFault::sentence},
          Case{"$GPRMC,123519,V,,,,,,,230394,,", ReportFault::sentence},
          Case{"$GPXYZ,1", ReportFault::type}}) {
        INFO(c.text);
        const Report report = report_of(c.text);
        CHECK(word(report.fault) == word(c.fault));
        CHECK(std::isnan(report.position.latitude_deg));
    }
}

TEST_CASE("Mic-E: the example of chapter 10", "[packet_radio]") {
    // From memory; arithmetic confirms it. "S32U6T": 33 degrees 25.64 minutes north, west, nothing added to the
    // longitude; with V in place of 6 it is 112 degrees. "(_f": 7.74 minutes. 'n"O': 20 knots, 251 degrees.
    const Report report = report_of("`(_fn\"Oj/", "S32UVT");
    REQUIRE(report.fault == ReportFault::none);
    const ReportPosition& at = report.position;
    CHECK(at.format == PositionFormat::mic_e);
    CHECK(at.latitude_deg == Approx(33 + 25.64 / 60).margin(1e-9));
    CHECK(at.longitude_deg == Approx(-(112 + 7.74 / 60)).margin(1e-9));
    CHECK(at.speed_mps == Approx(20 * 1852.0 / 3600));
    CHECK(at.course_deg == 251);
    CHECK(text_of_symbol(at) == "/j");
    CHECK(at.is_current);
    CHECK(report_of("`(_fn\"Oj/", "S32U6T").position.longitude_deg == Approx(-(12 + 7.74 / 60)).margin(1e-9));
    // "4T" and a brace: 61 m, from memory; with a radio's sign before it too.
    for (const char* text : {"\"4T}", ">\"4T}", "]\"4T}hello", "`\"4T}x"}) {
        INFO(text);
        CHECK(report_of("`(_fn\"Oj/" + std::string(text), "S32UVT").position.height_msl_m == 61);
    }
    for (const char* text : {"", "\"4T", "hello}", "hi \"4T}"}) {
        INFO(text);
        CHECK(std::isnan(report_of("`(_fn\"Oj/" + std::string(text), "S32UVT").position.height_msl_m));
    }
    // Old data, but for one maker's radios.
    CHECK_FALSE(report_of("'(_fn\"Oj/", "S32UVT").position.is_current);
    CHECK(report_of("'(_fn\"Oj/]", "S32UVT").position.is_current);
    // S L K blanks: two digits of the latitude left out, and of the longitude too.
    const ReportPosition vague = report_of("`(_fn\"Oj/", "S32UZL").position;
    CHECK(vague.ambiguity == 2);
    CHECK(vague.latitude_deg == Approx(33 + 25.5 / 60).margin(1e-9));
    CHECK(vague.longitude_deg == Approx(112 + 7.5 / 60).margin(1e-9));
    for (const char* wrong : {"APRS", "S32U6K", "S32UA0", "S32!VT", "Z32UVT", "S36UVT", "", "S32UVTX"}) {
        INFO(wrong);
        CHECK(report_of("`(_fn\"Oj/", wrong).fault == ReportFault::destination);
    }
    CHECK(report_of("`(_fn\"O", "S32UVT").fault == ReportFault::cut_short);
    CHECK(report_of("` _fn\"Oj/", "S32UVT").fault == ReportFault::longitude);
    CHECK(report_of("`(\x7F"
                    "fn\"Oj/",
                    "S32UVT")
              .fault == ReportFault::longitude);
    CHECK(report_of("`(_fn\x1B"
                    "Oj/",
                    "S32UVT")
              .fault == ReportFault::motion);
}

TEST_CASE("what is written is read back, within the digits of its format", "[packet_radio]") {
    std::mt19937 random(20);
    const auto uniform = [&](double from, double to) {
        return std::uniform_real_distribution<double>(from, to)(random);
    };
    int checked = 0;
    for (int k = 0; k < 6000; ++k) {
        ReportToSend sent;
        sent.format = static_cast<PositionFormat>(1 + k % 3);
        const bool is_compressed = sent.format == PositionFormat::compressed,
                   is_mic_e = sent.format == PositionFormat::mic_e;
        sent.latitude_deg = uniform(-90, 90);
        sent.longitude_deg = uniform(-179.99, 179.99);
        if (k % 4 != 0) sent.height_msl_m = uniform(0, 30'000);
        if (k % 5 != 0) {
            sent.course_deg = uniform(0, 359.4);
            sent.speed_mps = uniform(0, 400);
        }
        if (k % 7 == 0 && !is_mic_e) sent.second_of_day = random() % 86'400;
        if (k % 11 == 0 && !is_compressed) sent.ambiguity = 1 + random() % kAmbiguityMost;
        sent.comment = " text";
        const SentReport written = encode_report(sent, "APZRKT");
        INFO(written.destination << " " << written.information);
        const Report report = report_of(written.information, written.destination);
        REQUIRE(report.fault == ReportFault::none);
        const ReportPosition& at = report.position;
        REQUIRE(at.format == sent.format);
        REQUIRE(at.ambiguity == sent.ambiguity);
        // Rounded to a hundredth of a minute, and then cut to fewer digits; or a step of the compressed ones.
        const double within_deg = is_compressed ? 0.5001 / 190'463 : 0.5 * at.step_deg + 0.5001 * kHundredth_deg;
        REQUIRE(std::abs(at.latitude_deg - sent.latitude_deg) <= within_deg);
        REQUIRE(std::abs(at.longitude_deg - sent.longitude_deg) <= within_deg);
        REQUIRE(std::isnan(at.height_msl_m) == std::isnan(sent.height_msl_m));
        if (std::isfinite(sent.height_msl_m))
            REQUIRE(std::abs(at.height_msl_m - sent.height_msl_m) <= (is_mic_e ? 0.5001 : 0.1525));
        const bool moves = std::isfinite(sent.speed_mps);
        if (moves) {
            REQUIRE(std::abs(at.speed_mps - sent.speed_mps) <= 0.5001 * at.speed_step_mps);
            REQUIRE(std::abs(std::remainder(at.course_deg - sent.course_deg, 360)) <= 0.5001 * at.course_step_deg);
        } else if (!is_mic_e) {
            REQUIRE(std::isnan(at.speed_mps));
        }
        REQUIRE((sent.second_of_day ? report.utc_time_of_day_s == *sent.second_of_day
                                    : std::isnan(report.utc_time_of_day_s)));
        REQUIRE(text_of_symbol(at) == "/O");
        ++checked;
    }
    CHECK(checked == 6000);
}

TEST_CASE("courses, speeds and heights stand only where the reference puts them", "[packet_radio]") {
    const auto position = [](const std::string& rest) { return report_of("!4903.50N/07201.75W" + rest).position; };
    CHECK(position(">360/036").course_deg == 0);
    CHECK(std::isnan(position(">000/036").course_deg)); // unknown
    CHECK(position(">000/036").speed_mps == Approx(18.52));
    for (const char* rest : {">.../...", ">   /   ", ">361/036", ">088/03", "-Test 088/036", "_088/036"}) {
        INFO(rest);
        CHECK(std::isnan(position(rest).speed_mps));
        CHECK(position(rest).latitude_deg == Approx(49.0583333));
    }
    // Of \l it is the size of an area.
    CHECK(std::isnan(report_of("!4903.50N\\07201.75Wl088/036").position.speed_mps));
    CHECK(position(">088/036/A=001234").height_msl_m == Approx(376.1232));
    CHECK(position(">/A=-00100").height_msl_m == Approx(-30.48));
    CHECK(position(">x/A=12345 /A=001000").height_msl_m == Approx(304.8));
    for (const char* rest : {">/A=12345", ">/A=12 456", ">A=001234", ">/a=001234"})
        CHECK(std::isnan(position(rest).height_msl_m));
    // No fix: zero and zero, and the null position of chapter 6.
    CHECK_FALSE(report_of("!0000.00N\\00000.00W.").position.is_current);
    CHECK_FALSE(report_of("!0000.00N/00000.00E-").position.is_current);
    CHECK(report_of("!0000.01N/00000.00E-").position.is_current);
    // Either case of the letters; a time that no clock has.
    CHECK(report_of("!4903.50s/07201.75e-").position.latitude_deg == Approx(-49.0583333));
    CHECK(report_of("!4903.50s/07201.75e-").position.longitude_deg == Approx(72.0291667));
    CHECK(std::isnan(report_of("/999999h4903.50N/07201.75W>").utc_time_of_day_s));
    CHECK(report_of("/000000z4903.50N/07201.75W>").position.longitude_deg == Approx(-72.0291667));
}

TEST_CASE("objects, items, messages, status: chapters 11, 14 and 16", "[packet_radio]") {
    // From memory.
    const Report object = report_of(";LEADER   *092345z4903.50N/07201.75W>088/036");
    CHECK(object.kind == ReportKind::object);
    CHECK(object.name == "LEADER");
    CHECK(object.is_alive);
    CHECK(object.position.latitude_deg == Approx(49.0583333));
    CHECK(object.position.course_deg == 88);
    CHECK_FALSE(report_of(";LEADER   _092345z4903.50N/07201.75W>").is_alive);
    CHECK(report_of(";LEADER   *092345z/5L!!<*e7>7P[").position.latitude_deg == Approx(49.5));
    const Report item = report_of(")AID #2!4903.50N/07201.75WA");
    CHECK(item.kind == ReportKind::item);
    CHECK(item.name == "AID #2");
    CHECK(item.position.longitude_deg == Approx(-72.0291667));
    CHECK_FALSE(report_of(")AID #2_4903.50N/07201.75WA").is_alive);
    const Report message = report_of(":N0CALL-12:Testing{003");
    CHECK(message.kind == ReportKind::message);
    CHECK(message.name == "N0CALL-12");
    CHECK(message.text == "Testing{003");
    const Report status = report_of(">092345zNet Control Center");
    CHECK(status.kind == ReportKind::status);
    CHECK(status.time == "092345z");
    CHECK(status.text == "Net Control Center");
    CHECK(report_of(">Net Control Center").text == "Net Control Center");
    struct Case {
        const char* text;
        ReportKind kind;
    };
    for (const Case& c :
         {Case{"_10090556c220s004g005t077", ReportKind::weather}, Case{"!!006B00D9", ReportKind::weather},
          Case{"$ULTW0031003702CE", ReportKind::weather}, Case{"#50B7500820082", ReportKind::weather},
          Case{"*7007600820082", ReportKind::weather}, Case{"?APRS?", ReportKind::query},
          Case{"<IGATE,MSG_CNT=43", ReportKind::capabilities}, Case{"{Q1qwerty", ReportKind::user_defined},
          Case{"[IO91SX]", ReportKind::locator}, Case{",191146,V", ReportKind::test}}) {
        INFO(c.text);
        CHECK(report_of(c.text).kind == c.kind);
        CHECK(report_of(c.text).fault == ReportFault::none);
    }
    // A node's text before the position, chapter 5.
    const Report late = report_of("Node 12 at the hill!4903.50N/07201.75W#");
    CHECK(late.kind == ReportKind::position);
    CHECK(late.position.latitude_deg == Approx(49.0583333));
    CHECK(report_of(std::string(40, 'x') + "!4903.50N/07201.75W#").fault == ReportFault::type);
}

TEST_CASE("sentences of a receiver as they are", "[packet_radio]") {
    int checked = 0;
    for (const auto& entry : read_reference("nmea.json").at("sentences")) {
        const std::string sentence = entry.at("sentence"), type = entry.at("type");
        if ((type != "GGA" && type != "RMC") || entry.value("lat_deg", nlohmann::json()).is_null()) continue;
        INFO(sentence);
        const Report report = report_of(sentence);
        REQUIRE(report.fault == ReportFault::none);
        CHECK(report.position.latitude_deg == Approx(entry.at("lat_deg").get<double>()).margin(1e-8));
        CHECK(report.position.longitude_deg == Approx(entry.at("lon_deg").get<double>()).margin(1e-8));
        if (type == "GGA") CHECK(report.position.height_msl_m == Approx(entry.at("alt_msl_m").get<double>()));
        ++checked;
    }
    CHECK(checked > 3);
}

TEST_CASE("telemetry: the example of chapter 13, and what others send", "[packet_radio]") {
    // From memory.
    const Report report = report_of("T#005,199,000,255,073,123,01101001");
    REQUIRE(report.fault == ReportFault::none);
    CHECK(report.kind == ReportKind::telemetry);
    CHECK(report.telemetry.sequence == 5);
    CHECK(report.telemetry.analog == std::array<double, 5>{199, 0, 255, 73, 123});
    CHECK(report.telemetry.bits == std::array<double, 8>{0, 1, 1, 0, 1, 0, 0, 1});
    CHECK(report_of("T#007,001,002,003,004,005,11111111hello").text == "hello");
    CHECK(encode_telemetry(5, {199, 0, 255, 73, 123}, 0b01101001) == "T#005,199,000,255,073,123,01101001");
    for (const char* mic : {"T#MIC199,000,255,073,123,01101001", "T#MIC,199,000,255,073,123,01101001"}) {
        CHECK(report_of(mic).telemetry.analog == std::array<double, 5>{199, 0, 255, 73, 123});
        CHECK(std::isnan(report_of(mic).telemetry.sequence));
    }
    const ReportTelemetry few = report_of("T#1,7.25,,-3").telemetry;
    CHECK(few.analog[0] == 7.25);
    CHECK(std::isnan(few.analog[1]));
    CHECK(few.analog[2] == -3);
    CHECK(std::isnan(few.analog[3]));
    CHECK(std::isnan(few.bits[0]));

    std::array<TelemetryEquation, kAnalogCount> equations{};
    REQUIRE(read_equations("0,5.2,0,0,.53,-32,3,4.39,49,-32,3,18,1,2,3", equations));
    CHECK(equations[0] == TelemetryEquation{0, 5.2, 0});
    CHECK(equations[1] == TelemetryEquation{0, 0.53, -32});
    CHECK(equations[4] == TelemetryEquation{1, 2, 3});
    CHECK_FALSE(read_equations("1,x", equations));
    CHECK(equations[0] == TelemetryEquation{0, 5.2, 0});
    REQUIRE(read_equations("1,,2", equations));
    CHECK(equations[0] == TelemetryEquation{1, 5.2, 2});
}
