// How sentences of one moment become one fix: protocol/NMEA.md, section 3.
#include <catch2/catch.hpp>

#include <cmath>
#include <cstdio>

#include "tests/protocol/nmea/rows.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

std::string hms(double second_of_day) {
    const int whole = static_cast<int>(second_of_day);
    char text[32];
    std::snprintf(text, sizeof text, "%02d%02d%05.2f", whole / 3600, whole / 60 % 60,
                  second_of_day - (whole - whole % 60));
    return text;
}

std::string gga(double t, int quality = 1) {
    return "GNGGA," + hms(t) +
           (quality == 0 ? ",,,,,0,00,99.9,,,,,,"
                         : ",3515.0,N,11730.0,W," + std::to_string(quality) + ",12,0.8,1000.0,M,-30.0,M,,");
}
std::string rmc(double t, const std::string& date = "200626", const std::string& status = "A") {
    return "GNRMC," + hms(t) + "," + status + ",3515.0,N,11730.0,W,10.0,090.0," + date + ",,,A";
}
const std::string kVtg = "GNVTG,090.0,T,,M,10.0,N,18.5,K,A";

struct Given {
    int sentence; ///< of those pushed, from 0
    NmeaRow row;
};

std::vector<Given> fixes(NmeaReader& read, const std::vector<std::string>& sentences) {
    std::vector<Given> out;
    for (std::size_t k = 0; k < sentences.size(); ++k)
        for (const NmeaRow& row : read(sentences[k]).rows)
            if (row.table == "fix") out.push_back({static_cast<int>(k), row});
    return out;
}

double at(const Given& given, const char* column) {
    return given.row.numbers.at(column);
}

} // namespace

TEST_CASE("one moment's sentences become one fix, with the last that adds to it", "[nmea]") {
    struct Case {
        const char* name;
        std::vector<std::string> (*cycle)(double t);
        int last; ///< of the cycle, that adds to the fix
    };
    const std::vector<Case> cases = {
        {"GGA first",
         [](double t) {
             return std::vector{gga(t), rmc(t), kVtg};
         },
         1},
        {"RMC first",
         [](double t) {
             return std::vector{rmc(t), kVtg, gga(t)};
         },
         2},
        {"GGA and VTG",
         [](double t) {
             return std::vector{gga(t), kVtg};
         },
         1},
        {"RMC alone", [](double t) { return std::vector{rmc(t)}; }, 0},
        {"GGA alone", [](double t) { return std::vector{gga(t)}; }, 0},
        {"two receivers' talkers",
         [](double t) {
             return std::vector{gga(t), "GP" + gga(t).substr(2), rmc(t)};
         },
         2},
    };
    for (const Case& c : cases) {
        for (const double step : {1.0, 0.1}) {
            INFO(c.name << " every " << step << " s");
            NmeaReader read;
            std::vector<std::string> sentences;
            int size = 0;
            for (int k = 0; k < 6; ++k)
                for (const std::string& sentence : c.cycle(36000 + k * step)) {
                    sentences.push_back(sentence);
                    size += k == 0 ? 1 : 0;
                }
            const auto given = fixes(read, sentences);
            REQUIRE(given.size() == 5); // the first may be half of one
            for (std::size_t k = 0; k < given.size(); ++k) {
                CHECK(given[k].sentence == static_cast<int>(k + 1) * size + c.last);
                CHECK(at(given[k], "utc_time_of_day") == Approx(36000 + static_cast<double>(k + 1) * step));
                CHECK(at(given[k], "latitude") == Approx(35.25));
            }
        }
    }
}

TEST_CASE("a lost sentence costs its part of that fix and nothing else", "[nmea]") {
    NmeaReader read;
    std::vector<std::string> sentences;
    for (int k = 0; k < 10; ++k) {
        sentences.push_back(gga(36000 + k));
        if (k != 4) sentences.push_back(rmc(36000 + k));
    }
    const auto given = fixes(read, sentences);
    REQUIRE(given.size() == 9);
    for (std::size_t k = 0; k < given.size(); ++k) {
        CHECK(at(given[k], "utc_time_of_day") == 36001 + static_cast<double>(k));
        CHECK(std::isnan(at(given[k], "speed")) == (k == 3));
        CHECK(at(given[k], "height_ellipsoid") == 970);
    }
}

TEST_CASE("a sentence that no longer comes is waited for three times, then no more", "[nmea]") {
    NmeaReader read;
    std::vector<std::string> sentences;
    for (int k = 0; k < 4; ++k) {
        sentences.push_back(gga(36000 + k));
        sentences.push_back(rmc(36000 + k));
    }
    for (int k = 4; k < 12; ++k) sentences.push_back(gga(36000 + k));
    const auto given = fixes(read, sentences);
    REQUIRE(given.size() == 11);
    for (std::size_t k = 0; k < given.size(); ++k)
        CHECK(at(given[k], "utc_time_of_day") == 36001 + static_cast<double>(k));
    CHECK(given.back().sentence == static_cast<int>(sentences.size()) - 1);
}

TEST_CASE("a fix counts when every sentence with a status says so", "[nmea]") {
    const auto dimensions = [](const std::vector<std::string>& cycle) {
        NmeaReader read;
        std::vector<std::string> sentences = {gga(1), rmc(1), gga(2), rmc(2)};
        sentences.insert(sentences.end(), cycle.begin(), cycle.end());
        const auto given = fixes(read, sentences);
        REQUIRE_FALSE(given.empty());
        return given.back().row.numbers;
    };
    CHECK(dimensions({gga(3), rmc(3)}).at("fix_dimensions") == 3);
    CHECK(dimensions({gga(3, 0), rmc(3, "200626", "V")}).at("fix_dimensions") == 1);
    const auto half = dimensions({gga(3), rmc(3, "200626", "V")});
    CHECK(half.at("fix_dimensions") == 1);
    CHECK(std::isnan(half.at("latitude")));
    const auto estimated = dimensions({gga(3, 6), rmc(3)});
    CHECK(estimated.at("fix_dimensions") == 1);
    CHECK(estimated.at("latitude") == Approx(35.25)); // shown, not used
    const std::string gsa = "GNGSA,A,2,04,05,,,,,,,,,,,2.5,1.3,2.1";
    CHECK(dimensions({gga(2.5), gsa, rmc(2.5), gga(3), rmc(3)}).at("fix_dimensions") == 2);
    CHECK(dimensions({gga(3), gsa, rmc(3)}).at("pdop") == 2.5);
    // What a GSA said holds for three seconds.
    CHECK(dimensions({gsa, gga(30), rmc(30)}).at("fix_dimensions") == 3);
}

TEST_CASE("velocities follow speed and course", "[nmea]") {
    NmeaReader read;
    const auto given = fixes(read, {gga(1), rmc(1), gga(2), rmc(2)});
    REQUIRE(given.size() == 1);
    CHECK(at(given[0], "velocity_east") == Approx(10 * 1852.0 / 3600));
    CHECK(at(given[0], "velocity_north") == Approx(0).margin(1e-9));
    const std::string at_rest = "GNRMC,000003.00,A,3515.0,N,11730.0,W,0.0,,200626,,,A";
    const auto rests = fixes(read, {gga(3), at_rest});
    CHECK(at(rests.at(0), "velocity_east") == 0);
    CHECK(std::isnan(at(rests.at(0), "course")));
}

TEST_CASE("the date comes with RMC or ZDA and goes on over midnight", "[nmea]") {
    constexpr double kDay = 86400, kJune20 = 20624 * kDay; // 2026-06-20
    NmeaReader read;
    std::vector<std::string> sentences = {gga(86395), gga(86396)}; // no date yet
    const auto undated = fixes(read, sentences);
    REQUIRE(undated.size() == 1);
    CHECK(std::isnan(at(undated[0], "utc")));
    CHECK(at(undated[0], "utc_time_of_day") == 86396);
    sentences = {rmc(86397, "200626"), gga(86397), rmc(86398, "200626"), gga(86398), rmc(86399, "200626"),
                 gga(86399),           gga(0),     rmc(0, "210626"),     gga(1),     rmc(1, "210626")};
    const auto dated = fixes(read, sentences);
    REQUIRE(dated.size() >= 4);
    CHECK(at(dated.back(), "utc") == kJune20 + kDay + 1);
    for (std::size_t k = 1; k < dated.size(); ++k) CHECK(at(dated[k], "utc") > at(dated[k - 1], "utc"));
    NmeaReader by_zda;
    const auto zda =
        fixes(by_zda, {"GPZDA,120000.00,20,06,2026,00,00", gga(43200), "GPZDA,120001.00,20,06,2026,00,00", gga(43201)});
    REQUIRE(zda.size() == 1);
    CHECK(at(zda[0], "utc") == kJune20 + 43201);
}

TEST_CASE("a leap second is a second, and the day after it begins on time", "[nmea]") {
    NmeaReader read;
    std::vector<std::string> sentences = {rmc(86398, "311216"), rmc(86399, "311216"),
                                          "GNRMC,235960.00,A,3515.0,N,11730.0,W,10.0,090.0,311216,,,A",
                                          rmc(0, "010117"), rmc(1, "010117")};
    const auto given = fixes(read, sentences);
    REQUIRE(given.size() == 4);
    constexpr double kNewYear = 17167 * 86400.0; // 2017-01-01
    CHECK(at(given[1], "utc") == kNewYear);      // 23:59:60, leap seconds not counted
    CHECK(at(given[1], "utc_time_of_day") == 0);
    CHECK(at(given[2], "utc") == kNewYear);
    CHECK(at(given[3], "utc") == kNewYear + 1);
}

TEST_CASE("only fixes have the time of a packet, and a capture is timed by what is told", "[nmea]") {
    NmeaReader read;
    for (const std::string& sentence : {gga(1, 0), rmc(1, "200626", "V"), gga(2, 0)}) (void)read(sentence);
    const NmeaResult none = read(rmc(2, "200626", "V"));
    REQUIRE(none.rows.size() == 1);
    CHECK_FALSE(none.has_time);
    CHECK(none.told_ns == (20624 * 86400LL + 2) * 1'000'000'000);
    (void)read(gga(3));
    const NmeaResult found = read(rmc(3));
    REQUIRE(found.rows.size() == 1);
    CHECK(found.has_time);
    CHECK(found.onboard_ticks_ns == (20624 * 86400ULL + 3) * 1'000'000'000);
}

TEST_CASE("what a receiver sends before it knows anything gives rows without a fix", "[nmea]") {
    NmeaReader read;
    const std::vector<std::string> cold = {"GPRMC,,V,,,,,,,,,,N", "GPVTG,,,,,,,,,N", "GPGGA,,,,,,0,00,99.99,,,,,,",
                                           "GPGSA,A,1,,,,,,,,,,,,,99.99,99.99,99.99", "GPGLL,,,,,,V,N"};
    std::vector<std::string> sentences;
    for (int k = 0; k < 4; ++k) sentences.insert(sentences.end(), cold.begin(), cold.end());
    const auto given = fixes(read, sentences);
    REQUIRE(given.size() == 3);
    for (const Given& each : given) {
        CHECK(at(each, "fix_dimensions") == 1);
        CHECK(std::isnan(at(each, "latitude")));
    }
}
