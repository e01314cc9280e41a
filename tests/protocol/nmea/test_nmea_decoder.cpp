// Values of single sentences against tests/reference/nmea.json and formats/nmea_more.json, which others decoded.
#include <catch2/catch.hpp>

#include <cmath>
#include <fstream>

#include "tests/protocol/nmea/rows.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

void check_value(const NmeaRow& row, const std::string& column, const nlohmann::json& value, double margin) {
    INFO(column << " " << row.numbers.at(column));
    if (value.is_null())
        CHECK(std::isnan(row.numbers.at(column)));
    else
        CHECK(row.numbers.at(column) == Approx(value.get<double>()).margin(margin));
}

std::vector<nlohmann::json> sentences(const std::string& formatter) {
    std::vector<nlohmann::json> out;
    for (const char* file : {"nmea.json", "formats/nmea_more.json"})
        for (const auto& sentence : read_reference(file).at("sentences"))
            if (sentence.at("type") == formatter) out.push_back(sentence);
    REQUIRE_FALSE(out.empty());
    return out;
}

} // namespace

TEST_CASE("positions, heights and speeds are those that others read", "[nmea]") {
    for (const char* formatter : {"GGA", "GNS", "RMC", "GLL"}) {
        for (const auto& sentence : sentences(formatter)) {
            INFO(sentence.at("id").get<std::string>());
            const NmeaRow row = fix_of(inside(sentence.at("sentence")));
            const bool valid = sentence.value("fix_valid", sentence.at("valid").get<bool>());
            check_value(row, "latitude", valid ? sentence.at("lat_deg") : nlohmann::json(), 1e-8);
            check_value(row, "longitude", valid ? sentence.at("lon_deg") : nlohmann::json(), 1e-8);
            if (sentence.contains("alt_msl_m")) check_value(row, "height_msl", sentence.at("alt_msl_m"), 1e-9);
            if (sentence.contains("alt_ellipsoid_m"))
                check_value(row, "height_ellipsoid", sentence.at("alt_ellipsoid_m"), 1e-9);
            if (sentence.contains("speed_mps")) check_value(row, "speed", sentence.at("speed_mps"), 1e-8);
            if (sentence.contains("track_deg")) check_value(row, "course", sentence.at("track_deg"), 1e-9);
            if (sentence.contains("magvar_deg"))
                check_value(row, "magnetic_variation", sentence.at("magvar_deg"), 1e-9);
            if (sentence.contains("satellites")) check_value(row, "satellites_used", sentence.at("satellites"), 0);
            if (sentence.contains("hdop")) check_value(row, "hdop", sentence.at("hdop"), 1e-9);
            const double tod = sentence.at("hour").get<double>() * 3600 + sentence.at("minute").get<double>() * 60 +
                               sentence.at("second").get<double>();
            CHECK(row.numbers.at("utc_time_of_day") == Approx(tod).margin(1e-6));
            CHECK((row.numbers.at("fix_dimensions") > 1) == (valid && !sentence.at("lat_deg").is_null()));
        }
    }
}

TEST_CASE("speed and course of VTG are those that others read", "[nmea]") {
    for (const auto& sentence : sentences("VTG")) {
        INFO(sentence.at("id").get<std::string>());
        NmeaReader read;
        const std::string nothing = sentence.at("talker").get<std::string>() + "VTG,,T,,M,,N,,K";
        for (int k = 0; k < 2; ++k) (void)read(nothing);
        const NmeaResult result = read(inside(sentence.at("sentence")));
        REQUIRE(result.rows.size() == 1);
        const auto& course =
            sentence.contains("track_true_deg") ? sentence.at("track_true_deg") : sentence.at("course_true_deg");
        check_value(result.rows[0], "course", course, 1e-9);
        const auto& knots = sentence.contains("speed_knots") ? sentence.at("speed_knots") : sentence.at("speed_kn");
        check_value(result.rows[0], "speed",
                    knots.is_null() ? knots : nlohmann::json(knots.get<double>() * 1852.0 / 3600.0), 1e-9);
    }
}

TEST_CASE("wind, weather, heading and revolutions are those that others read", "[nmea]") {
    NmeaReader read;
    for (const auto& sentence : sentences("MWV")) {
        INFO(sentence.at("id").get<std::string>());
        const NmeaRow row = read(inside(sentence.at("sentence"))).rows.at(0);
        const bool valid = sentence.at("valid");
        check_value(row, "angle", valid ? sentence.at("wind_angle_deg") : nlohmann::json(), 1e-9);
        check_value(row, "speed", valid ? sentence.at("wind_speed_m_s") : nlohmann::json(), 1e-8);
        const bool is_true = sentence.at("reference") == "true";
        check_value(row, "wind_speed", valid && is_true ? sentence.at("wind_speed_m_s") : nlohmann::json(), 1e-8);
        check_value(row, "wind_from", valid && is_true ? sentence.at("wind_angle_deg") : nlohmann::json(), 1e-9);
    }
    for (const auto& sentence : sentences("MDA")) {
        INFO(sentence.at("id").get<std::string>());
        const NmeaRow row = read(inside(sentence.at("sentence"))).rows.at(0);
        check_value(row, "pressure", sentence.at("pressure_pa"), 1e-6);
        check_value(row, "air_temperature", sentence.at("air_temp_c").get<double>() + 273.15, 1e-9);
        check_value(row, "relative_humidity", sentence.at("relative_humidity_pct"), 1e-9);
        check_value(row, "wind_speed", sentence.at("wind_speed_m_s"), 1e-9);
        check_value(row, "wind_from", sentence.at("wind_from_true_deg"), 1e-9);
        CHECK(std::isnan(row.numbers.at("water_temperature")));
    }
    for (const auto& sentence : sentences("HDT"))
        check_value(read(inside(sentence.at("sentence"))).rows.at(0), "heading", sentence.at("heading_true_deg"), 1e-9);
    for (const auto& sentence : sentences("RPM")) {
        INFO(sentence.at("id").get<std::string>());
        const NmeaRow row = read(inside(sentence.at("sentence"))).rows.at(0);
        check_value(row, "speed", sentence.at("rpm"), 1e-9);
        check_value(row, "number", sentence.at("number"), 0);
        const bool first_engine = sentence.at("rpm_source") == "engine" && sentence.at("number") == 1;
        check_value(row, "engine_speed", first_engine ? sentence.at("rpm") : nlohmann::json(), 1e-9);
    }
}

TEST_CASE("an anemometer's relative angles are of the wind once the link says where its mark points", "[nmea]") {
    NmeaReader read{std::optional<double>(350.0)};
    const NmeaRow row = read("WIMWV,045.0,R,10.0,M,A").rows.at(0);
    CHECK(row.numbers.at("wind_from") == Approx(35));
    CHECK(row.numbers.at("wind_speed") == 10);
}

TEST_CASE("transducers without columns of their own give a row each, in SI units", "[nmea]") {
    for (const auto& sentence : sentences("XDR")) {
        INFO(sentence.at("id").get<std::string>());
        NmeaReader read;
        const NmeaResult result = read(inside(sentence.at("sentence")));
        REQUIRE(result.rows.size() == sentence.at("transducers").size());
        for (std::size_t k = 0; k < result.rows.size(); ++k) {
            const auto& expected = sentence.at("transducers")[k];
            const NmeaRow& row = result.rows[k];
            CHECK(row.table == "transducers.other");
            CHECK(row.texts.at("name") == expected.at("name"));
            CHECK(row.texts.at("unit") == expected.at("unit"));
            nlohmann::json value = expected.at("value");
            if (!value.is_null() && expected.at("type") == "C") value = value.get<double>() + 273.15;
            if (!value.is_null() && expected.at("type") == "P" && expected.at("unit") == "B")
                value = value.get<double>() * 1e5;
            check_value(row, "value", value, 1e-6);
        }
    }
}

TEST_CASE("transducers with columns are joined into one row a cycle", "[nmea]") {
    const auto dictionary = nlohmann::json::parse(R"({"vehicle": "boat", "version": "1", "packets": [
        {"apid": 7, "name": "transducers", "period_ms": 1000, "secondary_header": {"fields": []}, "fields": [
          {"name": "coolant", "type": "f64", "unit": "K"}, {"name": "oil_pressure", "type": "f64", "unit": "Pa"},
          {"name": "battery_0", "type": "f64", "unit": "V"}]}]})");
    NmeaReader read(dictionary);
    const std::string first = "YXXDR,C,80.0,C,COOLANT,P,3.0,B,Oil Pressure", second = "YXXDR,U,12.5,V,BATTERY#0";
    CHECK(read(first).verdict == DecodeVerdict::part);
    CHECK(read(second).verdict == DecodeVerdict::part);
    // From the second cycle on it is known what comes.
    CHECK(read(first).rows.empty());
    const NmeaResult whole = read(second);
    REQUIRE(whole.rows.size() == 1);
    CHECK(whole.rows[0].numbers.at("coolant") == Approx(353.15));
    CHECK(whole.rows[0].numbers.at("oil_pressure") == Approx(3e5));
    CHECK(whole.rows[0].numbers.at("battery_0") == 12.5);
    // A lost sentence costs its part: the row comes with the next cycle.
    (void)read(first);
    const NmeaResult left = read(first);
    REQUIRE(left.rows.size() == 1);
    CHECK(std::isnan(left.rows[0].numbers.at("battery_0")));
}

TEST_CASE("groups of GSV are joined, or not at all", "[nmea]") {
    int checked = 0;
    for (const auto& group : read_reference("formats/nmea_more.json").at("gsv_groups")) {
        INFO(group.at("id").get<std::string>());
        NmeaReader read;
        LineDeframer deframer(sentence_rules());
        int complete = 0;
        std::vector<NmeaRow> satellites;
        for (const auto& sentence : group.at("sentences")) {
            const std::string line = sentence.get<std::string>() + "\r\n";
            deframer.push(std::as_bytes(std::span(line)), [&](const Frame& frame) {
                if (frame.verdict != FrameVerdict::good) return;
                const std::string text(reinterpret_cast<const char*>(frame.packet.data()) + 1, frame.packet.size() - 1);
                for (const NmeaRow& row : read(text).rows) {
                    complete += row.table == "satellites" ? 1 : 0;
                    if (row.table == "satellites.satellite") satellites.push_back(row);
                }
            });
        }
        CHECK(complete == group.at("expected_complete_groups"));
        const auto& expected = group.at("expected_satellites");
        REQUIRE(satellites.size() == expected.size());
        const auto by_number = [](const NmeaRow& a, const NmeaRow& b) {
            return a.numbers.at("number") < b.numbers.at("number");
        };
        std::sort(satellites.begin(), satellites.end(), by_number);
        std::vector<nlohmann::json> sorted(expected.begin(), expected.end());
        std::sort(sorted.begin(), sorted.end(), [](const auto& a, const auto& b) { return a.at("prn") < b.at("prn"); });
        for (std::size_t k = 0; k < satellites.size(); ++k) {
            check_value(satellites[k], "number", sorted[k].at("prn"), 0);
            check_value(satellites[k], "elevation", sorted[k].at("elevation_deg"), 0);
            check_value(satellites[k], "azimuth", sorted[k].at("azimuth_deg"), 0);
            check_value(satellites[k], "signal", sorted[k].at("snr_db"), 0);
        }
        ++checked;
    }
    CHECK(checked == 8);
}

TEST_CASE("sentences that nothing reads are counted as such, those that cannot be as mistakes", "[nmea]") {
    NmeaReader read;
    for (const auto& sentence : read_reference("formats/nmea_more.json").at("sentences"))
        if (sentence.at("ignored").get<bool>())
            CHECK(read(inside(sentence.at("sentence"))).verdict == DecodeVerdict::unused);
    for (const auto& sentence : read_reference("nmea.json").at("invalid")) {
        const auto error = sentence.at("error").get<std::string>();
        if (error != "field_count" && error != "range") continue;
        INFO(sentence.at("id").get<std::string>());
        CHECK(read(inside(sentence.at("sentence"))).verdict == DecodeVerdict::bad_value);
    }
    for (const char* wrong : {"GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,310294,003.1,W",
                              "GPRMC,123519,A,4807.038,X,01131.000,E,1,1,230394,,", "GPRMC,12x519,A,,,,,,,230394,,",
                              "GPGGA,123519,4807.038,N,,,1,08,0.9,545.4,M,46.9,M,,",
                              "GPGGA,123519,4807.038,N,18131.000,E,1,08,0.9,545.4,M,46.9,M,,",
                              "GPGSA,A,4,,,,,,,,,,,,,1,1,1", "GPGSV,1,2,03", "WIMWV,12,Q,3,N,A", "WIMWV,12,T,3,Z,A",
                              "HEHDT,400,T", "ERRPM,X,1,900,0,A", "YXXDR,C,1e9999,C,X", "GPZDA,120000,31,02,2026,,",
                              "GPZDA,201530.25,04,07,1026,00,00", "GPVTG,abc,T,,M,1,N,2,K"}) {
        INFO(wrong);
        CHECK(read(wrong).verdict == DecodeVerdict::bad_value);
    }
    for (const char* other : {"GPTXT,01,01,02,hello", "PMTK001,3", "", "G", "GP", "GPQ", "IIVHW,,T,,M,5,N,9,K"})
        CHECK(read(other).verdict == DecodeVerdict::unused);
}

TEST_CASE("a dictionary of one's own keeps the columns it has", "[nmea]") {
    auto dictionary = nlohmann::json::parse(nmea_dictionary_json("boat"));
    std::vector<Problem> problems;
    check_nmea_dictionary(dictionary_of(dictionary), "d", problems);
    CHECK(problems.empty());
    auto& packets = dictionary.at("packets");
    packets = nlohmann::json::array({packets[2]});
    packets[0].at("fields").erase(0);
    NmeaReader read(dictionary);
    CHECK(read("WIMWV,214.8,T,10.0,M,A").rows.at(0).numbers.at("wind_speed") == 10);
    CHECK(read("HEHDT,274.07,T").verdict == DecodeVerdict::unused);
    CHECK(read("GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,").verdict == DecodeVerdict::unused);
    packets[0].at("fields").push_back({{"name", "gust"}, {"type", "f64"}});
    packets[0].at("fields")[1]["unit"] = "km/h";
    check_nmea_dictionary(dictionary_of(dictionary), "d", problems);
    REQUIRE(problems.size() == 2);
    CHECK_THAT(to_string(problems), Catch::Contains("wind.gust") && Catch::Contains("km/h"));
    problems.clear();
    packets[0]["name"] = "other";
    check_nmea_dictionary(dictionary_of(dictionary), "d", problems);
    CHECK(problems.size() == 1);
}
