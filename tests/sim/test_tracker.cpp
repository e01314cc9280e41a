// The tracker: what it says is read by the ground's own framing and decoder, and is what the receiver on board knew; of
// the weather station beside it, what the air at the pad was.
#include <cmath>
#include <numbers>

#include <nlohmann/json.hpp>

#include "protocol/packet_radio/radio_dictionary.hpp"
#include "protocol/reading/frame_reader.hpp"
#include "tests/sim/support.hpp"
#include "tools/sim/tracker.hpp"

using namespace turnstone;
using namespace turnstone::sim;

TEST_CASE("a tracker's reports are read as what its receiver knew, in every format") {
    const SensedFlight flight = fly_sensors(demo_scenario("nominal"), 3);
    double apogee_m = 0;
    for (const FixReading& fix : flight.sensors.fix)
        if (fix.fix_dimensions >= 3) apogee_m = std::max(apogee_m, fix.height_msl_m);
    std::vector<Problem> problems;
    const Dictionary dictionary =
        read_dictionary(nlohmann::json::parse(radio_dictionary_json("tracker")), "dictionary", problems);
    REQUIRE(problems.empty());
    for (const auto format : {PositionFormat::uncompressed, PositionFormat::compressed, PositionFormat::mic_e}) {
        INFO(word(format));
        const TrackerStream said = tracker_stream(flight, format, 1'780'000'000, 5);
        CHECK(said.positions > 20);
        CHECK(said.copies > 3);
        RadioFraming framing;
        framing.format.stuffing = Stuffing::kiss;
        framing.format.ax25 = Ax25Head::kept;
        framing.station = kTrackerStation;
        FrameReader reader(framing, dictionary);
        std::uint32_t positions = 0, telemetry = 0, weather = 0, others = 0;
        double highest_m = 0;
        reader.push(std::as_bytes(std::span(said.stream.bytes)), [&](const Frame& frame, const DecodedPacket* packet) {
            REQUIRE(frame.verdict == FrameVerdict::good);
            REQUIRE(packet != nullptr);
            REQUIRE(packet->verdict == DecodeVerdict::good);
            const DecodedRow& row = packet->rows.front();
            const ChannelTable& table = dictionary.tables[row.table];
            positions += table.name == "position";
            telemetry += table.name == "telemetry";
            others += table.name == "heard";
            const DecodedRow& last = packet->rows.back();
            if (const ChannelTable& also = dictionary.tables[last.table]; also.name == "weather") {
                ++weather;
                const auto value = [&](const char* name) {
                    return last.numbers[std::ranges::find(also.channels, std::string(name), &Channel::name)->place];
                };
                const TruthSample& at_pad = flight.truth.samples.front(); // in steps of a mile an hour, a degree, 10 Pa
                const double from_rad = value("wind_from") * std::numbers::pi / 180;
                const Eigen::Vector2d wind =
                    -value("wind_speed") * Eigen::Vector2d(std::sin(from_rad), std::cos(from_rad));
                CHECK((wind - at_pad.wind_enu_mps.head<2>()).norm() < 0.23 + 0.009 * value("wind_speed"));
                CHECK(std::abs(value("temperature") + 273.15 - at_pad.temperature_k) < 0.28);
                CHECK(std::abs(value("pressure") - at_pad.pressure_pa) <= 5);
            }
            if (table.name != "position") return;
            const auto height = std::ranges::find(table.channels, std::string("height_msl"), &Channel::name);
            highest_m = std::max(highest_m, row.numbers[height->place]);
        });
        CHECK(positions == said.positions + said.copies);
        CHECK(telemetry == said.telemetry);
        CHECK(others == said.others + said.weather);
        CHECK(weather == said.weather);
        CHECK(weather > 2);
        CHECK(reader.counts().bytes_dropped == 0);
        // A report every two seconds misses the highest fix by what falls in one.
        CHECK(highest_m <= apogee_m + 1);
        CHECK(highest_m > apogee_m - 0.5 * 9.81 * kTrackerPeriod_s * kTrackerPeriod_s);
        CHECK(tracker_stream(flight, format, 1'780'000'000, 5).stream.bytes == said.stream.bytes);
    }
}
