// What the avionics keep around a firing, as it comes out of the decoder.
#include "tests/sim/decoded.hpp"

using namespace turnstone;
using namespace turnstone::sim;

TEST_CASE("What was kept around a firing arrives whole, each packet twice as it was, within what the radio carries") {
    const FlightResult flight = fly(demo_scenario("separation-test"), 2);
    const DecodedStream ground = decode(flight);
    REQUIRE(flight.sensors.burst.size() == 2);
    const auto& rows = ground.tables.at("burst.samples");
    const auto& burst = flight.sensors.burst.front();
    const std::size_t sent = burst.readings.size() / 20 * 20;
    REQUIRE(rows.size() >= 2 * sent);
    for (std::size_t k = 0; k < sent; ++k) {
        CHECK(rows[k].numbers.at("axial_acceleration") == Approx(burst.readings[k].axial_mps2).margin(0.003));
        CHECK(rows[k].numbers.at("bay_pressure") == Approx(burst.readings[k].bay_pa).margin(1.1));
        CHECK(rows[k].numbers == rows[sent + k].numbers); // the same once more
        CHECK(rows[k].sequence_count == rows[sent + k].sequence_count);
        if (k > 0) CHECK(rows[k].onboard_s - rows[k - 1].onboard_s == Approx(0.001).margin(1.1e-3));
    }
    CHECK(ground.tables.at("firing").size() == 4);
    CHECK(ground.tables.at("firing").front().numbers.at("charge_fired") == 1);
    CHECK(ground.tables.at("firing").back().numbers.at("charge_fired") == 2);
    CHECK(ground.rows_out_of_range == 0);
    // The queue never grows: what is made leaves within a tenth of a second.
    for (const SentPacket& packet : flight.sent.packets) CHECK(packet.t_end_s - packet.t_made_s < 0.15);
}

TEST_CASE("A restart loses what was kept, a brown-out only what was not measured any more") {
    const DecodedStream rebooted = decode(fly(demo_scenario("reboot-on-the-stand"), 2));
    CHECK(rebooted.tables.at("burst").front().numbers.at("charge") == 2);
    const FlightResult dark = fly(demo_scenario("brown-out"), 2);
    const auto rows = decode(dark).tables.at("burst.samples");
    const double fired_s = dark.sensors.burst.front().fired_s;
    const auto of_first = static_cast<double>(std::count_if(rows.begin(), rows.end(), [&](const DecodedRowCopy& row) {
        return row.onboard_s < dark.clock.at_start_s + fired_s + 5.0;
    }));
    CHECK(of_first == 2 * 60); // three packets, twice
}

TEST_CASE("A flight sends nothing of the kind") {
    const DecodedStream ground = decode(fly(demo_scenario("on-the-rail"), 1));
    CHECK(!ground.tables.contains("burst"));
    CHECK(!ground.tables.contains("firing"));
}
