// A law is tuned in shadow on a logging flight, and then flown closed loop by the simulator, whose computer was written
// apart from the shadow: what was foreseen has to happen.
#include <catch2/catch.hpp>

#include <cmath>

#include "server/debrief/response/guidance_shadow.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tools/trials/debrief/steered_flight.hpp"

using namespace turnstone;
using namespace turnstone::trials;
using Catch::Contains;
using nlohmann::json;

namespace {

json damper(double kp, double delay_s = 0.01) {
    return {{"form", "pid"},
            {"state", "roll_radps"},
            {"gains", {{"kp", kp}, {"ki", 4 * kp}}},
            {"limit_rad", 0.15},
            {"delay_s", delay_s},
            {"least_q_pa", 800},
            {"schedule", {{{"q_pa", 1000}, {"factor", 8}}, {{"q_pa", 16000}, {"factor", 1}}}}};
}

json shadow_of(const SteeredFlight& flight, const json& law) {
    const auto answer = debrief::guidance_shadow(
        flight.recordings, {{"flight", flight.id}, {"law", law}, {"seeds", 20}}, [](double) { return true; });
    INFO((answer ? "" : answer.error().message));
    REQUIRE(answer);
    return *answer;
}

double quantile_of(const json& answer, const std::string& what, const char* which) {
    for (const json& one : answer.at("sensitivity"))
        if (one.at("what") == what) return one.at(which);
    FAIL("no " << what);
    return NAN;
}

/// What the simulator made of the law on the same day's flight: rms of the roll rate while it coasts fast.
double flown_rms(const json& law, std::uint64_t seed, double* largest_fin_rad = nullptr) {
    sim::Scenario scenario = steered_scenario("tuning");
    scenario.steering->pulses.clear();
    scenario.steering->law = law;
    const sim::SensedFlight flight = sim::fly_sensors(scenario, seed);
    double square = 0, count = 0, fin = 0;
    for (const sim::TruthSample& sample : flight.truth.samples) {
        if (sample.phase != sim::TruePhase::coasting || sample.dynamic_pressure_pa < 2000) continue;
        square += std::pow(sample.rate_body_radps.x(), 2);
        fin = std::max(fin, std::abs(sample.fin_rad.x()));
        ++count;
    }
    if (largest_fin_rad != nullptr) *largest_fin_rad = fin;
    return std::sqrt(square / count);
}

} // namespace

TEST_CASE("a law that its shadow finds sound stops the roll when it is flown, and one it finds unsound swings up") {
    const test::TemporaryFolder folder;
    const SteeredFlight logged = record_steered(folder.path(), steered_scenario("tuning"), 21);

    const json sound = shadow_of(logged, damper(0.03));
    for (const json& at : sound.at("margins")) {
        CHECK(at.at("stable").get<bool>());
        CHECK(at.at("phase_deg").get<double>() > 35);
    }
    CHECK(quantile_of(sound, "stable", "q05") == 1);
    const double without_rms = flown_rms(nullptr, 21);
    const double with_rms = flown_rms(damper(0.03), 21);
    CHECK(without_rms > 1);
    CHECK(with_rms < 0.15 * without_rms);
    CHECK(with_rms < 4 * quantile_of(sound, "error_rms", "q95") + 0.1);

    const json unsound = shadow_of(logged, damper(0.4, 0.05));
    CHECK(!unsound.at("margins").back().at("stable").get<bool>());
    CHECK(quantile_of(unsound, "saturated_share", "q50") > 0.5);
    double fin_rad = 0;
    const double swung_rms = flown_rms(damper(0.4, 0.05), 21, &fin_rad);
    CHECK(swung_rms > 10 * with_rms);
    CHECK(fin_rad > 0.1);
}

TEST_CASE("a shadow says where its result ends, and gives no margins without a plant") {
    const test::TemporaryFolder folder;
    sim::Scenario scenario = steered_scenario("tuning");
    scenario.steering->pulses.clear();
    scenario.airframe.fins->noise_rad = 1e-4;
    const SteeredFlight still = record_steered(folder.path(), scenario, 22);
    const json answer = shadow_of(still, damper(0.03));
    CHECK(answer.at("margins").empty());
    CHECK(answer.at("sensitivity").empty());
    CHECK(answer.at("command_rad").size() == answer.at("t_s").size());
    CHECK(answer.at("limited_rad").size() == answer.at("t_s").size());
    const std::string notes = answer.at("notes").dump();
    CHECK_THAT(notes, Contains("No margins") && Contains("no excitation") && Contains("not a clearance to steer") &&
                          Contains("range safety officer"));
}

TEST_CASE("a pitch damper has margins where pitch fins moved") {
    const test::TemporaryFolder folder;
    const SteeredFlight logged = record_steered(folder.path(), steered_scenario("tuning"), 23);
    const json law{{"form", "pid"}, {"state", "pitch_radps"}, {"gains", {{"kp", 0.05}}}, {"limit_rad", 0.1}};
    const json answer = shadow_of(logged, law);
    REQUIRE(!answer.at("margins").empty());
    CHECK(answer.at("margins").back().at("stable").get<bool>());
    CHECK(answer.at("state_name") == "pitch_radps");
}

TEST_CASE("a law that is wrong is refused with its places") {
    const test::TemporaryFolder folder;
    const auto answer = debrief::guidance_shadow({folder.path()}, {{"flight", "a~b~1"}, {"law", {{"form", "pid"}}}},
                                                 [](double) { return true; });
    REQUIRE(!answer);
    CHECK_THAT(answer.error().message, Contains("/gains") && Contains("/limit_rad") && Contains("/state"));
}
