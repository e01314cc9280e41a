// When a sensor is overdue, by how its samples come: singly, or many in a packet.
#include <catch2/catch.hpp>

#include "server/estimate/sensors/usual_pause.hpp"
#include "tests/estimate/station_time.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using namespace turnstone::test;

TEST_CASE("A sensor is overdue after one and a half of its own pauses, and no sooner for coming in packets") {
    struct Case {
        const char* description;
        double packet_s;
        int samples; ///< in each
        double limit_s;
    };
    const auto one = GENERATE(Case{"200 Hz, singly", 0.005, 1, 0.3}, Case{"200 Hz, once a second", 1.0, 200, 1.5},
                              Case{"10 Hz in fives", 0.5, 5, 0.75}, Case{"1 Hz", 1.0, 1, 1.5});
    UsualPause pause;
    CHECK(pause.overdue(at(0)));
    double now_s = 0;
    const auto receive = [&](double packet_s) {
        now_s += packet_s;
        for (int k = one.samples; k-- > 0;) pause.heard(at(now_s - one.packet_s * k / one.samples), at(now_s));
    };
    for (int packet = 0; packet < 10; ++packet) receive(one.packet_s);
    INFO(one.description);
    CHECK_FALSE(pause.overdue(at(now_s + one.limit_s - 0.001)));
    CHECK(pause.overdue(at(now_s + one.limit_s + 0.001)));
    receive(7.0); // a fade teaches nothing
    receive(one.packet_s);
    CHECK(pause.overdue(at(now_s + one.limit_s + 0.001)));
}
