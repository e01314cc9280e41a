// What weather reports say: chapter 12 of the APRS Protocol Reference 1.0.1, its fields as tshark 4.0.17 takes them
// apart (tests/reference/weather_reports.json), its units from memory. What later practice puts into comments is from
// memory too, and common practice.
#include <catch2/catch.hpp>

#include <cmath>
#include <random>

#include "protocol/packet_radio/report.hpp"
#include "protocol/packet_radio/report_encoder.hpp"
#include "tests/protocol/bytes.hpp"
#include "tests/protocol/packet_radio/rows.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

constexpr const char* kTracker = "N0CALL-11";

/// Of a field as it was sent: NaN for points and blanks, and for one that is not there.
double field(const nlohmann::json& entry, const char* letter) {
    const std::string digits = entry.value(letter, "...");
    return digits.find_first_not_of(". ") == std::string::npos ? kNaN : std::stod(digits);
}

bool same(double is, double wanted) {
    return std::isnan(wanted) ? std::isnan(is) : std::abs(is - wanted) < 1e-9;
}

ReportWeather weather_of(const std::string& information) {
    return read_report(information, "APZRKT").weather;
}

} // namespace

TEST_CASE("weather reports say what an independent decoder reads", "[packet_radio]") {
    int checked = 0;
    for (const auto& entry : read_reference("weather_reports.json").at("reports")) {
        const std::string information = entry.at("info");
        INFO(information);
        const Report report = read_report(information, "APZRKT");
        REQUIRE(report.fault == ReportFault::none);
        const ReportWeather& weather = report.weather;
        constexpr double kMileAnHour_mps = 1609.344 / 3600, kInch_mm = 25.4;
        const double from = field(entry, "c"), humidity = field(entry, "h");
        CHECK(same(weather.wind_from_deg, from == 360 ? 0 : from));
        CHECK(same(weather.wind_mps, field(entry, "s") * kMileAnHour_mps));
        CHECK(same(weather.gust_mps, field(entry, "g") * kMileAnHour_mps));
        CHECK(same(weather.temperature_degc, (field(entry, "t") - 32) * 5 / 9));
        CHECK(same(weather.rain_1h_mm, field(entry, "r") * kInch_mm / 100));
        CHECK(same(weather.rain_24h_mm, field(entry, "p") * kInch_mm / 100));
        CHECK(same(weather.rain_midnight_mm, field(entry, "P") * kInch_mm / 100));
        CHECK(same(weather.humidity_percent, humidity == 0 ? 100 : humidity));
        CHECK(same(weather.pressure_pa, field(entry, "b") * 10));
        CHECK(same(weather.luminosity_wpm2, field(entry, "L")));
        CHECK(same(weather.snow_mm, field(entry, "S") * kInch_mm));
        CHECK(weather.is_said);
        CHECK(std::isnan(report.position.speed_mps));
        CHECK((report.text.empty() || report.text == "wRSW" || report.text == "xAbc"));
        CHECK((report.kind == ReportKind::weather) == (information[0] == '_'));
        ++checked;
    }
    CHECK(checked == 73);
}

TEST_CASE("weather at a compressed place has its wind in the place, and an object has its own", "[packet_radio]") {
    // From memory, chapter 12; the wind as in chapter 9, which has only knots: 22 * 4 degrees, 1.08 to the 47th less 1.
    for (const char* text :
         {"=/5L!!<*e7_7P[g005t077r000p000P000h50b09900wRSW", "@092345z/5L!!<*e7_7P[g005t077h50b09900wRSW"}) {
        const Report report = read_report(text, "APZRKT");
        CHECK(report.weather.wind_from_deg == 88);
        CHECK(report.weather.wind_mps * 3600 / 1852 == Approx(36.23).margin(0.01));
        CHECK(report.weather.temperature_degc == Approx(25));
        CHECK(report.weather.pressure_pa == 99'000);
        CHECK(std::isnan(report.position.course_deg));
        CHECK(std::isnan(report.position.speed_mps));
    }
    const Report object = read_report(";BRENDA   *092345z4903.50N/07201.75W_220/004g005b0990", "APZRKT");
    CHECK(object.weather.wind_from_deg == 220);
    CHECK(object.weather.gust_mps == Approx(2.2352));
    CHECK(std::isnan(object.weather.pressure_pa)); // of four digits where five are due
    CHECK(object.text == "b0990");
}

TEST_CASE("weather is what the reference puts there, and nothing else", "[packet_radio]") {
    CHECK(std::isnan(weather_of("_10090556c000s004g005t077").wind_from_deg)); // not known
    CHECK(weather_of("_10090556c360s004g005t077").wind_from_deg == 0);
    CHECK(std::isnan(weather_of("_10090556c361s004g005t077").wind_from_deg));
    CHECK(weather_of("_10090556c220s004g005t077h00").humidity_percent == 100);
    CHECK(weather_of("_10090556c220s004g005t077l321").luminosity_wpm2 == 1321);
    CHECK(weather_of("_10090556c220s004g005t077#123h50").humidity_percent == 50); // a gauge's count before it
    const Report cut = read_report("_10090556c220s004g005t077b099", "APZRKT");
    CHECK(cut.text == "b099");
    CHECK(cut.time == "10090556");
    for (const char* text : {"_10090556c...s   g...t...P...", "_1009055c220s004", "_", "_10090556",
                             "!4903.50N/07201.75W_Station at the pad", "!4903.50N/07201.75W>220/004g005t077",
                             "!4903.50N/07201.75W_.../...g...t...", "#50B7500820082", "!!006B00D9"}) {
        INFO(text);
        const Report report = read_report(text, "APZRKT");
        CHECK(report.fault == ReportFault::none);
        CHECK_FALSE(report.weather.is_said);
        CHECK(std::isnan(report.weather.wind_mps));
        CHECK(std::isnan(report.weather.temperature_degc));
    }
    // A field that is none ends them: what is behind it is a comment.
    CHECK(std::isnan(weather_of("!4903.50N/07201.75W_220/004g005t07 r001").rain_1h_mm));
    CHECK(std::isnan(weather_of("!4903.50N/07201.75W_g005t077c100").wind_from_deg));
    CHECK(read_report("!4903.50N/07201.75W_220/004g005t077/A=001234", "APZRKT").position.height_msl_m ==
          Approx(376.1232));
}

TEST_CASE("weather is a row of everybody's beside the one of the report", "[packet_radio]") {
    RadioReader read(kTracker);
    const RadioRow other = read("N0WX", "!4903.50N/07201.75W_220/004g005t077r000p000P000h50b09900wRSW");
    CHECK(other.table == "heard");
    REQUIRE(other.more.size() == 1);
    const RadioRow& weather = other.more[0];
    REQUIRE(weather.table == "weather");
    CHECK(weather.texts.at("station") == "N0WX");
    CHECK(weather["latitude"] == Approx(49.0583333));
    CHECK(weather["wind_from"] == 220);
    CHECK(weather["wind_speed"] == Approx(1.78816));
    CHECK(weather["wind_gust"] == Approx(2.2352));
    CHECK(weather["temperature"] == Approx(25));
    CHECK(weather["humidity"] == 50);
    CHECK(weather["pressure"] == 99'000);
    CHECK(weather["rain_1h"] == 0);
    CHECK(std::isnan(weather["snow_24h"]));
    CHECK(weather.texts.at("text") == "wRSW");
    const RadioRow alone = read("N0WX", "_10090556c220s004g005t077", "APZRKT", {"N0HILL*"});
    CHECK(alone.table == "heard");
    REQUIRE(alone.more.size() == 1);
    CHECK(std::isnan(alone.more[0]["latitude"]));
    CHECK(alone.more[0].texts.at("time") == "10090556");
    CHECK(alone.more[0].texts.at("path") == "N0HILL*");
    const RadioRow object = read("N0WX", ";PAD      *092345z4903.50N/07201.75W_220/004g005t077");
    CHECK(object["alive"] == 1);
    REQUIRE(object.more.size() == 1);
    CHECK(object.more[0].texts.at("object") == "PAD");
    // Ours that carries a weather station: its place is the vehicle's all the same.
    const RadioRow ours = read(kTracker, "!4903.50N/07201.75W_220/004g005t077");
    CHECK(ours.table == "position");
    CHECK(std::isnan(ours["speed"]));
    REQUIRE(ours.more.size() == 1);
    CHECK(ours.more[0].table == "weather");
    CHECK(read("N0WX", "!4903.50N/07201.75W_no figures").more.empty());
    // With no "heard", the weather is what the frame gives.
    auto dictionary = nlohmann::json::parse(radio_dictionary_json("tracker"));
    auto& packets = dictionary.at("packets");
    packets = nlohmann::json::array({packets[0], packets[4]});
    RadioReader few(dictionary, kTracker);
    CHECK(few("N0WX", "_10090556c220s004g005t077").table == "weather");
    CHECK(few("N0WX", "!4903.50N/07201.75W>").verdict == DecodeVerdict::unused);
}

TEST_CASE("telemetry in the comment of a position is a row of its own", "[packet_radio]") {
    // From memory, common practice: two digits of base 91 for each, the number first; bits with the lowest first.
    // "ss" = 82 * 91 + 82, "!!" = 0, "!\"" = 1, "\"!" = 91, "{{" = 90 * 91 + 90.
    RadioReader read(kTracker);
    const RadioRow all = read(kTracker, "!4903.50N/07201.75W>088/036|ss!!!\"\"!{{ss\"!|up");
    REQUIRE(all.table == "position");
    REQUIRE(all.more.size() == 1);
    const RadioRow& told = all.more[0];
    REQUIRE(told.table == "telemetry");
    CHECK(told["sequence"] == 7544);
    CHECK(told["analog_1"] == 0);
    CHECK(told["analog_2"] == 1);
    CHECK(told["analog_3"] == 91);
    CHECK(told["analog_4"] == 8280);
    CHECK(told["analog_5"] == 7544);
    CHECK(told["bit_1"] == 1); // 91 is 0b01011011
    CHECK(told["bit_2"] == 1);
    CHECK(told["bit_3"] == 0);
    CHECK(told["bit_8"] == 0);
    CHECK(told.texts.at("comment").empty());
    CHECK(std::isnan(told["value_1"]));
    (void)read(kTracker, ":N0CALL-11:EQNS.0,1,0,0,0.5,-1");
    const RadioRow few = read(kTracker, "!4903.50N/07201.75W>|!!!\"!\"|");
    REQUIRE(few.more.size() == 1);
    CHECK(few.more[0]["value_2"] == -0.5);
    CHECK(std::isnan(few.more[0]["analog_3"]));
    CHECK(std::isnan(few.more[0]["bit_1"]));
    for (const char* none : {"|ss|", "|ss!|", "|ss!!", "|s~!!|", "||||", "|ss!!!!!!!!!!!!!!|", "|!! !|"}) {
        INFO(none);
        CHECK(read(kTracker, std::string("!4903.50N/07201.75W>") + none).more.empty());
    }
    CHECK(read("N0CALL", "!4903.50N/07201.75W>|ss!!|").more.empty()); // somebody else's
    CHECK(read(kTracker, "!4903.50N/07201.75W>a|b|ss!!|").more.size() == 1);
}

TEST_CASE("digits in the comment make a place to hundredths of a minute finer", "[packet_radio]") {
    // From memory, common practice.
    const auto place = [](const std::string& text) { return read_report(text, "APZRKT").position; };
    const ReportPosition decimal = place("!4903.50N/07201.75W>hello !W37!");
    CHECK(decimal.latitude_deg == Approx(49 + 3.503 / 60).margin(1e-12));
    CHECK(decimal.longitude_deg == Approx(-(72 + 1.757 / 60)).margin(1e-12));
    CHECK(decimal.step_deg == Approx(0.001 / 60));
    const ReportPosition base = place("!4903.50S/07201.75E>!w!{!");
    CHECK(base.latitude_deg == Approx(-(49 + 3.50 / 60)).margin(1e-12));
    CHECK(base.longitude_deg == Approx(72 + (1.75 + 0.01 * 90 / 91) / 60).margin(1e-12));
    CHECK(base.step_deg == Approx(0.01 / 91 / 60));
    CHECK(read_report("`(_fn\"Oj/!W55!", "S32UVT").position.latitude_deg == Approx(33 + 25.645 / 60).margin(1e-12));
    for (const char* text : {"!4903.50N/07201.75W>!W3 !", "!4903.50N/07201.75W>!X37!", "!4903.50N/07201.75W>!W37",
                             "!4903.50N/07201.75W>W37!", "!4903.50N/07201.75W>!Wxy!"}) {
        INFO(text);
        CHECK(place(text).latitude_deg == Approx(49 + 3.5 / 60).margin(1e-12));
        CHECK(place(text).step_deg == Approx(0.01 / 60));
    }
    CHECK(place("!4903.5 N/07201.7 W>!W37!").latitude_deg == Approx(49 + 3.55 / 60).margin(1e-12)); // left out before
    CHECK(place("=/5L!!<*e7>7P[!W99!").latitude_deg == Approx(49.5).margin(1e-12));
    CHECK(place("!9000.00N/18000.00W>!W99!").latitude_deg == 90);
}

TEST_CASE("weather is written as an independent decoder has taken it apart", "[packet_radio]") {
    int checked = 0;
    for (const auto& entry : read_reference("weather_reports.json").at("reports")) {
        const std::string information = entry.at("info");
        INFO(information);
        constexpr double kMileAnHour_mps = 1609.344 / 3600, kInch_mm = 25.4;
        ReportWeather weather;
        const double humidity = field(entry, "h");
        weather.wind_from_deg = field(entry, "c");
        weather.wind_mps = field(entry, "s") * kMileAnHour_mps;
        weather.gust_mps = field(entry, "g") * kMileAnHour_mps;
        weather.temperature_degc = (field(entry, "t") - 32) * 5 / 9;
        weather.rain_1h_mm = field(entry, "r") * kInch_mm / 100;
        weather.rain_24h_mm = field(entry, "p") * kInch_mm / 100;
        weather.rain_midnight_mm = field(entry, "P") * kInch_mm / 100;
        weather.humidity_percent = humidity == 0 ? 100 : humidity;
        weather.pressure_pa = field(entry, "b") * 10;
        weather.luminosity_wpm2 = field(entry, "L");
        weather.snow_mm = field(entry, "S") * kInch_mm;
        // Its fields again, those that must be there with points where nothing is told, the others only where there is.
        const auto digits = [&](const char* letter) {
            return std::isnan(field(entry, letter)) ? std::string("...") : entry.at(letter).get<std::string>();
        };
        std::string fields = "g" + digits("g") + "t" + digits("t");
        for (const char* letter : {"r", "p", "P", "h", "b", "L"})
            if (!std::isnan(field(entry, letter))) fields += letter + digits(letter);
        if (!std::isnan(field(entry, "S"))) fields += "s" + digits("S");
        if (information[0] == '_') {
            const std::string time = information.substr(1, 8);
            CHECK(encode_weather(time, weather) == "_" + time + "c" + digits("c") + "s" + digits("s") + fields);
        } else {
            const ReportToSend place{.latitude_deg = 49 + 3.5 / 60, .longitude_deg = -72 - 1.75 / 60};
            CHECK(encode_weather(place, weather, "APZRKT").information ==
                  "!4903.50N/07201.75W_" + digits("c") + "/" + digits("s") + fields);
        }
        ++checked;
    }
    CHECK(checked == 73);
}

TEST_CASE("weather that is written is read again, to the step of each field", "[packet_radio]") {
    std::mt19937 random(5);
    const auto some = [&](double from, double to) {
        return random() % 4 == 0 ? kNaN : std::uniform_real_distribution(from, to)(random);
    };
    const auto near = [](double is, double was, double step) {
        return std::isnan(was) ? std::isnan(is) : std::abs(is - was) <= step / 2 + 1e-9;
    };
    for (int k = 0; k < 3000; ++k) {
        ReportWeather sent;
        sent.wind_mps = some(0, 100);
        sent.wind_from_deg = std::isnan(sent.wind_mps) ? kNaN : std::abs(some(0, 360));
        sent.gust_mps = some(0, 200);
        sent.temperature_degc = some(-70, 60);
        sent.rain_1h_mm = some(0, 250);
        sent.rain_24h_mm = some(0, 250);
        sent.rain_midnight_mm = some(0, 250);
        sent.humidity_percent = some(1, 100);
        sent.pressure_pa = some(60'000, 105'000);
        sent.luminosity_wpm2 = some(0, 1998);
        sent.snow_mm = some(0, 2000);
        const auto kind = static_cast<unsigned>(k % 3);
        ReportToSend place{.latitude_deg = -33.25, .longitude_deg = 151.5, .comment = " a station"};
        if (kind == 1) place.format = PositionFormat::compressed;
        const std::string information =
            kind == 2 ? encode_weather("10090556", sent) : encode_weather(place, sent, "APZRKT").information;
        INFO(information);
        const Report report = read_report(information, "APZRKT");
        const ReportWeather& got = report.weather;
        REQUIRE(report.fault == ReportFault::none);
        if (kind == 1) { // steps of four degrees, and of a factor 1.08; both or neither
            const bool has_wind = std::isfinite(sent.wind_from_deg) && std::isfinite(sent.wind_mps);
            REQUIRE(std::isfinite(got.wind_mps) == has_wind);
            if (has_wind) {
                const double off = std::abs(std::remainder(got.wind_from_deg - sent.wind_from_deg, 360));
                REQUIRE(off <= 2 + 1e-9);
                REQUIRE(std::abs(got.wind_mps - sent.wind_mps) <= 0.04 * sent.wind_mps + 0.04);
            }
        } else {
            const double off = std::abs(std::remainder(got.wind_from_deg - sent.wind_from_deg, 360));
            REQUIRE((std::isnan(sent.wind_from_deg) ? std::isnan(got.wind_from_deg) : off <= 0.5 + 1e-9));
            REQUIRE(near(got.wind_mps, sent.wind_mps, 0.44704));
        }
        REQUIRE(near(got.gust_mps, sent.gust_mps, 0.44704));
        REQUIRE(near(got.temperature_degc, sent.temperature_degc, 1 / 1.8));
        REQUIRE(near(got.rain_1h_mm, sent.rain_1h_mm, 0.254));
        REQUIRE(near(got.rain_24h_mm, sent.rain_24h_mm, 0.254));
        REQUIRE(near(got.rain_midnight_mm, sent.rain_midnight_mm, 0.254));
        REQUIRE(near(got.humidity_percent, sent.humidity_percent, 1));
        REQUIRE(near(got.pressure_pa, sent.pressure_pa, 10));
        REQUIRE(near(got.luminosity_wpm2, sent.luminosity_wpm2, 1));
        REQUIRE(near(got.snow_mm, sent.snow_mm, 25.4));
        if (kind != 2) REQUIRE(report.text == " a station");
    }
}
