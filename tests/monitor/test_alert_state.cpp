// The life of an alert against the states and transitions of ANSI/ISA-18.2-2016 (IEC 62682:2014, clause on the alarm
// state transition diagram; from memory, agreeing with OPC 10000-9, which was read): normal, unacknowledged active,
// acknowledged active, returned to normal unacknowledged, latched, shelved.
#include <string>

#include <catch2/catch.hpp>

#include "server/pipeline/alert_state.hpp"

using namespace turnstone;

TEST_CASE("an alert goes from state to state as ANSI/ISA-18.2 says", "[alerts]") {
    using enum AlertState;
    struct Row {
        AlertState from;
        AlertStep step;
        AlertState to; ///< of an alert that does not latch
        AlertState to_latching;
    };
    const Row table[] = {
        {normal, AlertStep::raise, unacknowledged, unacknowledged},
        {normal, AlertStep::end, normal, normal},
        {normal, AlertStep::acknowledge, normal, normal},
        {normal, AlertStep::unshelve, normal, normal},
        {unacknowledged, AlertStep::raise, unacknowledged, unacknowledged}, // to another level
        {unacknowledged, AlertStep::end, returned, latched},
        {unacknowledged, AlertStep::acknowledge, acknowledged, acknowledged},
        {unacknowledged, AlertStep::unshelve, unacknowledged, unacknowledged},
        {acknowledged, AlertStep::raise, unacknowledged, unacknowledged},
        {acknowledged, AlertStep::end, normal, normal},
        {acknowledged, AlertStep::acknowledge, acknowledged, acknowledged},
        {acknowledged, AlertStep::unshelve, unacknowledged, unacknowledged},
        {returned, AlertStep::raise, unacknowledged, unacknowledged}, // a new occurrence
        {returned, AlertStep::end, returned, returned},
        {returned, AlertStep::acknowledge, normal, normal},
        {returned, AlertStep::unshelve, returned, returned},
        {latched, AlertStep::raise, unacknowledged, unacknowledged},
        {latched, AlertStep::end, latched, latched},
        {latched, AlertStep::acknowledge, normal, normal}, // a reset of its own is not asked for
        {latched, AlertStep::unshelve, latched, latched},
    };
    CHECK(std::size(table) == kWords<AlertState>.size() * kWords<AlertStep>.size());
    for (const Row& row : table) {
        INFO(word(row.from) << " + " << word(row.step));
        CHECK(next_state(row.from, row.step, false) == row.to);
        CHECK(next_state(row.from, row.step, true) == row.to_latching);
    }
}
