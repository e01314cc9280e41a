// What logging flights of the simulator say of the vehicle, against the airframe that was flown; from bytes, through
// pipeline and recording. Many of them: tests/trials/test_debriefed_flights.cpp.
#include <catch2/catch.hpp>

#include "server/debrief/response/control_response.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/support/tree.hpp"
#include "tools/trials/debrief/steered_flight.hpp"

using namespace turnstone;
using namespace turnstone::trials;
using Catch::Contains;

namespace {

nlohmann::json response_of(const SteeredFlight& flight, nlohmann::json request = nlohmann::json::object()) {
    request["flight"] = flight.id;
    const auto answer = debrief::control_response(flight.recordings, request, [](double) { return true; });
    INFO((answer ? "" : answer.error().message));
    REQUIRE(answer);
    return *answer;
}

} // namespace

TEST_CASE("a logging flight shows its drives, its steps and how rates follow fins") {
    const test::TemporaryFolder folder;
    const sim::Scenario scenario = steered_scenario("tuning");
    const SteeredFlight flight = record_steered(folder.path(), scenario, 17);
    const nlohmann::json answer = response_of(flight);
    CHECK(answer.at("inputs").size() == 6);
    CHECK(answer.at("outputs").size() == 3);
    CHECK(answer.at("spectra").size() == 4);
    CHECK(answer.at("frequency_response").size() == 6);
    const nlohmann::json& drive = answer.at("actuator").at("roll");
    const sim::FinDrive& truth = *scenario.airframe.fins;
    CHECK(drive.at("delay_s").get<double>() == Approx(truth.delay_s).margin(0.012));
    CHECK(drive.at("lag_s").get<double>() == Approx(truth.lag_s).margin(0.012));
    REQUIRE(answer.at("steps").size() >= 2);
    for (const auto& step : answer.at("steps")) CHECK(step.at("rise_s").get<double>() > 0);
    // The course has the same steps where they were found, and the drive behind them by its delay and lag.
    const auto t_s = answer.at("course").at("t_s").get<std::vector<double>>();
    const auto at = [&](double when_s) {
        return static_cast<std::size_t>(std::ranges::lower_bound(t_s, when_s) - t_s.begin());
    };
    CHECK(answer.at("course").at("axes").size() == 3);
    const nlohmann::json& course = answer.at("course").at("axes").at("roll");
    const auto commanded = course.at("commanded_rad").get<std::vector<double>>();
    REQUIRE(commanded.size() == t_s.size());
    REQUIRE(course.at("rate_radps").size() == t_s.size());
    for (const auto& step : answer.at("steps")) {
        const double step_s = step.at("t_s").get<double>();
        CHECK(commanded.at(at(step_s - 0.1)) == Approx(step.at("from_rad").get<double>()).margin(0.01));
        CHECK(commanded.at(at(step_s + 0.15)) == Approx(step.at("to_rad").get<double>()).margin(0.01));
        CHECK(course.at("measured_rad").at(at(step_s + 0.25)).get<double>() ==
              Approx(step.at("to_rad").get<double>()).margin(0.03));
    }
    const nlohmann::json& response = answer.at("frequency_response").at(0);
    CHECK(response.at("from").get<std::string>() == "dunlin/fins.fin_roll_command");
    CHECK(response.at("gain").size() == response.at("f_hz").size());
    CHECK(answer.at("spectrogram").at("level_db").size() == answer.at("spectrogram").at("t_s").size());
    CHECK(answer.at("pitch").at("static_margin_m").get<double>() ==
          Approx(flight.setup.airframe.static_margin_m).epsilon(0.15));
    CHECK(answer.at("notes").empty());
}

TEST_CASE("steps are found where packets are lost, and as they are found without losses") {
    sim::Scenario scenario = steered_scenario("tuning");
    const test::TemporaryFolder whole, lossy;
    const nlohmann::json clean = response_of(record_steered(whole.path(), scenario, 21)).at("steps");
    scenario.impairment = *sim::impairment_from_name("mild");
    const nlohmann::json lost = response_of(record_steered(lossy.path(), scenario, 21)).at("steps");
    REQUIRE(clean.size() >= 4);
    CHECK(lost.size() >= 3);
    for (const auto& step : lost) {
        const double t_s = step.at("t_s").get<double>();
        const auto same = std::ranges::find_if(
            clean, [&](const auto& other) { return std::abs(other.at("t_s").template get<double>() - t_s) < 0.1; });
        REQUIRE(same != clean.end());
        CHECK(step.at("to_rad").get<double>() == Approx(same->at("to_rad").get<double>()).margin(0.002));
        CHECK(step.at("rise_s").get<double>() == Approx(same->at("rise_s").get<double>()).margin(0.1));
    }
}

TEST_CASE("without inertia in the vehicle file there is a natural frequency and no static margin, unless the request "
          "has it") {
    const test::TemporaryFolder folder;
    nlohmann::json vehicle = nlohmann::json::parse(test::read_file(test::demo_path("dunlin/vehicle.json")));
    vehicle.at("rocket").erase("inertia_transverse_kg_m2");
    const SteeredFlight flight = record_steered(folder.path(), steered_scenario("tuning"), 20, vehicle.dump());
    const nlohmann::json answer = response_of(flight);
    CHECK(answer.at("yaw").at("identifiable").get<bool>());
    CHECK(answer.at("yaw").at("static_margin_m").is_null());
    CHECK_THAT(answer.at("yaw").at("static_margin_why").get<std::string>(), Contains("moment of inertia"));
    const nlohmann::json known = response_of(flight, {{"inertia_transverse_kg_m2", 0.4}});
    CHECK(known.at("yaw").at("static_margin_m").get<double>() ==
          Approx(flight.setup.airframe.static_margin_m).epsilon(0.15));
}

TEST_CASE("a flight whose fins stay still says that it shows nothing of them, and which figure decides") {
    const test::TemporaryFolder folder;
    sim::Scenario scenario = steered_scenario("tuning");
    scenario.steering->pulses.clear();
    scenario.airframe.fins->noise_rad = 1e-4;
    const nlohmann::json answer = response_of(record_steered(folder.path(), scenario, 18));
    CHECK(!answer.at("roll").at("identifiable").get<bool>());
    CHECK_THAT(answer.at("roll").at("why").get<std::string>(), Contains("no excitation") && Contains("deg rms"));
    CHECK(answer.at("pitch").at("identifiable").get<bool>());
}

TEST_CASE("a request that is wrong, and a job that is stopped, end with a sentence") {
    const test::TemporaryFolder folder;
    const SteeredFlight flight = record_steered(folder.path(), steered_scenario("tuning"), 19);
    const auto go_on = [](double) { return true; };
    const auto wrong = debrief::control_response(flight.recordings, {{"flight", flight.id}, {"inertia", 1}}, go_on);
    REQUIRE(!wrong);
    CHECK_THAT(wrong.error().message, Contains("/inertia"));
    CHECK(!debrief::control_response(flight.recordings, {{"flight", "none~at~1"}}, go_on));
    CHECK(
        !debrief::control_response(flight.recordings, {{"flight", flight.id}, {"from_s", 500}, {"to_s", 600}}, go_on));
    for (const double until : {0.0, 0.3, 0.6}) {
        const auto stopped = debrief::control_response(flight.recordings, {{"flight", flight.id}},
                                                       [&](double part) { return part < until; });
        REQUIRE(!stopped);
        CHECK(stopped.error().message == "stopped");
    }
}
