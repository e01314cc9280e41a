// No flight of the simulator makes a link say that something is wrong with it, however bad the radio; and at the wrong
// baud rate every one does.
#include <catch2/catch.hpp>

#include "server/pipeline/station/pipeline.hpp"
#include "shared/time.hpp"
#include "tools/sim/fly.hpp"
#include "tools/trials/trial.hpp"

using namespace turnstone;
using namespace turnstone::trials;

TEST_CASE("no scenario, clean or rough, makes a link say that something is wrong with it") {
    for (const sim::ScenarioName& scenario : sim::scenario_names())
        for (const char* impairment : {"clean", "mild", "rough"}) {
            INFO(scenario.name << ", " << impairment);
            const std::vector<Event> events = link_events(trial_scenario(std::string(scenario.name), impairment), 1);
            std::size_t troubles = 0;
            for (const Event& event : events) {
                UNSCOPED_INFO(event.text);
                troubles += event.id == EventId::link_trouble ? 1 : 0;
            }
            CHECK(troubles == 0);
        }
}
