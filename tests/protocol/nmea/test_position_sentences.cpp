// Sentences that say a position, read back by the decoder that is checked against others.
#include <catch2/catch.hpp>

#include <cmath>
#include <random>

#include "protocol/nmea/position_sentences.hpp"
#include "tests/protocol/nmea/rows.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

constexpr std::int64_t kSecond = 1'000'000'000;

/// Without "$", checksum and line end, which are looked at on the way.
std::vector<std::string> insides(const std::string& text) {
    std::vector<std::string> out;
    for (std::size_t at = 0; at < text.size();) {
        const std::size_t end = text.find("\r\n", at);
        REQUIRE(end != std::string::npos);
        const std::string line = text.substr(at, end - at);
        CHECK(line.size() + 2 <= 82); // IEC 61162-1, 7.3
        const std::size_t star = line.find('*');
        REQUIRE(star + 3 == line.size());
        unsigned sum = 0;
        for (const char c : line.substr(1, star - 1)) sum ^= static_cast<unsigned char>(c);
        CHECK(std::stoul(line.substr(star + 1), nullptr, 16) == sum);
        out.push_back(line.substr(1, star - 1));
        at = end + 2;
    }
    return out;
}

} // namespace

TEST_CASE("A position is written as the standard's fields have it", "[nmea]") {
    // 48 deg 7.038 min N, 11 deg 31 min E, 22.4 kn, 084.4 deg at 12:35:19 on 1994-03-23: the place and motion of an
    // example that is printed in many descriptions of NMEA 0183 (from memory); layout: IEC 61162-1, GGA and RMC.
    const std::string text = position_sentences({.utc_ns = 764426119 * kSecond + 999'999'999,
                                                 .latitude_deg = 48.1173,
                                                 .longitude_deg = 11 + 31 / 60.0,
                                                 .altitude_msl_m = 545.4,
                                                 .geoid_height_m = 46.9,
                                                 .speed_mps = 22.4 * 1852 / 3600,
                                                 .course_deg = 84.4,
                                                 .estimated = false});
    CHECK(insides(text) ==
          std::vector<std::string>{"GPGGA,123519.99,4807.03800,N,01131.00000,E,1,,,545.4,M,46.9,M,,",
                                   "GPRMC,123519.99,A,4807.03800,N,01131.00000,E,22.4,84.4,230394,,,A"});
    const std::string estimated = position_sentences({.utc_ns = 0,
                                                      .latitude_deg = -0.00000001,
                                                      .longitude_deg = 359.9999999999,
                                                      .altitude_msl_m = std::nan(""),
                                                      .geoid_height_m = std::nan(""),
                                                      .speed_mps = std::nan(""),
                                                      .course_deg = std::nan(""),
                                                      .estimated = true});
    CHECK(insides(estimated) == std::vector<std::string>{"GPGGA,000000.00,0000.00000,N,00000.00000,E,6,,,,M,,M,,",
                                                         "GPRMC,000000.00,A,0000.00000,N,00000.00000,E,,,010170,,,E"});
}

TEST_CASE("A position that was written is read as it was, anywhere", "[nmea]") {
    std::mt19937 random(6);
    std::uniform_real_distribution<double> unit(0, 1);
    for (int k = 0; k < 600; ++k) {
        SaidPosition said{.utc_ns = static_cast<std::int64_t>(4e18 * unit(random)),
                          .latitude_deg = 180 * unit(random) - 90,
                          .longitude_deg = 360 * unit(random) - 180,
                          .altitude_msl_m = 40000 * unit(random) - 400,
                          .geoid_height_m = 200 * unit(random) - 100,
                          .speed_mps = 400 * unit(random),
                          .course_deg = 360 * unit(random),
                          .estimated = k % 2 == 0};
        // The last digit of a minute or a degree is about to turn over.
        if (k % 3 == 0) said.latitude_deg = std::round(said.latitude_deg) - 1e-9;
        if (k % 5 == 0) said.longitude_deg = std::round(said.longitude_deg) - 1e-9;
        if (std::abs(said.latitude_deg) > 90) continue;
        const std::vector<std::string> sentences = insides(position_sentences(said));
        REQUIRE(sentences.size() == 2);
        INFO(sentences[0] << " " << sentences[1]);
        for (const std::string& sentence : sentences) {
            const NmeaRow row = fix_of(sentence);
            CHECK(row.numbers.at("latitude") == Approx(said.latitude_deg).margin(1e-7));
            const double east_deg = row.numbers.at("longitude") - said.longitude_deg;
            CHECK(std::abs(std::remainder(east_deg, 360.0)) < 1e-7);
            if (sentence.substr(2, 3) == "GGA") {
                CHECK(row.numbers.at("height_msl") == Approx(said.altitude_msl_m).margin(0.0501));
                CHECK(row.numbers.at("height_ellipsoid") ==
                      Approx(said.altitude_msl_m + said.geoid_height_m).margin(0.1001));
            } else {
                CHECK(row.numbers.at("speed") == Approx(said.speed_mps).margin(0.0501 * 1852 / 3600));
                const double right_deg = row.numbers.at("course") - said.course_deg;
                CHECK(std::abs(std::remainder(right_deg, 360.0)) < 0.0501);
            }
        }
    }
}
