// The boat and the weather station: what they say is read by the ground's own framing, and is what the model did.
#include <catch2/catch.hpp>

#include <cmath>
#include <limits>
#include <map>
#include <string>

#include "protocol/framing/line_deframer.hpp"
#include "tools/sim/surface/surface.hpp"

using namespace turnstone;
using namespace turnstone::sim;

namespace {

constexpr double kNever = std::numeric_limits<double>::quiet_NaN();

Site site() {
    Site out;
    out.pad = {-21.3846, 23.1752, 968};
    out.geoid_height_m = 14;
    out.pad_pressure_pa = 90420;
    out.pad_temperature_k = 296.8;
    out.wind = {{0, 3.0, 245}};
    return out;
}

/// Sentences of a stream by formatter; everything must be good.
std::map<std::string, std::vector<std::string>> sentences(const SurfaceStream& stream) {
    std::map<std::string, std::vector<std::string>> out;
    LineDeframer deframer(sentence_rules());
    deframer.push(std::as_bytes(std::span(stream.bytes)), [&](const Frame& frame) {
        REQUIRE(frame.verdict == FrameVerdict::good);
        REQUIRE(frame.link_bytes <= 82); // the standard's limit
        const std::string text(reinterpret_cast<const char*>(frame.packet.data()), frame.packet.size());
        out[text.substr(3, 3)].push_back(text);
    });
    REQUIRE(deframer.counts().bytes_dropped == 0);
    return out;
}

} // namespace

TEST_CASE("the boat starts its engine, idles near 900 per minute, and drives near its waiting place") {
    Boat boat(site(), 4);
    boat.advance(10);
    CHECK(boat.state().engine_rpm == 0);
    CHECK(boat.state().oil_pa == 0);
    boat.advance(60);
    CHECK(boat.state().engine_rpm == Approx(900).margin(60));
    CHECK(boat.state().oil_pa > 2e5);
    boat.advance(500);
    CHECK(boat.state().engine_rpm == Approx(2400).margin(60));
    CHECK(boat.state().coolant_k == Approx(357).margin(4));
    CHECK(boat.state().battery_v == Approx(14.1).margin(0.2));
    for (double t_s = 600; t_s < 6000; t_s += 60) {
        boat.advance(t_s);
        CHECK(std::hypot(boat.state().east_m, boat.state().north_m) < 2000);
        CHECK(boat.state().coolant_k < 363);
        CHECK(boat.state().exhaust_k < 338);
    }
}

TEST_CASE("without cooling water the engine grows hot within minutes") {
    Boat boat(site(), 4);
    boat.cooling_fails_s = 200;
    boat.advance(600);
    CHECK(boat.state().coolant_k > 368);
    CHECK(boat.state().exhaust_k > 343);
}

TEST_CASE("the boat says a sentence of each kind every second, at the UTC of the run") {
    constexpr double kUtc_s = 1'780'000'000.7; // 2026-05-28T20:26:40Z
    const auto said = sentences(boat_stream(site(), 2, kUtc_s, 120, kNever));
    for (const char* kind : {"RMC", "GGA", "RPM", "MWV", "HDT"}) {
        INFO(kind);
        CHECK(said.at(kind).size() == 120);
    }
    CHECK(said.at("XDR").size() == 360);
    CHECK(said.at("GGA").front().starts_with("$GPGGA,202640.00,21"));
    CHECK_THAT(said.at("RMC").front(), Catch::Contains(",280526,") && Catch::Contains(",S,023"));
    CHECK(said.at("GGA").back().starts_with("$GPGGA,202839.00,"));
}

TEST_CASE("the weather station says the site's wind with gusts, and the same for the same seed") {
    const SurfaceStream stream = weather_stream(site(), 7, 1200);
    const auto said = sentences(stream);
    REQUIRE(said.at("MWV").size() == 1200);
    CHECK(said.at("MDA").size() == 240);
    double sum = 0, greatest = 0;
    for (const std::string& sentence : said.at("MWV")) {
        const std::size_t comma = sentence.find(",T,");
        const double speed = std::stod(sentence.substr(comma + 3));
        sum += speed;
        greatest = std::max(greatest, speed);
    }
    CHECK(sum / 1200 == Approx(3).margin(0.6));
    CHECK(greatest > 3.5);
    CHECK(weather_stream(site(), 7, 1200).bytes == stream.bytes);
    CHECK(weather_stream(site(), 8, 1200).bytes != stream.bytes);
}
