// The jobs of a debrief and the printed report, on the recording of a simulated flight whose truth is known.
#include <catch2/catch.hpp>

#include <cmath>
#include <string>

#include <nlohmann/json.hpp>

#include "server/debrief/comparison/comparison.hpp"
#include "server/debrief/performance/performance.hpp"
#include "server/debrief/smoothing/smooth.hpp"
#include "server/report/report.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/trials/recorded_flight.hpp"
#include "tools/trials/trial.hpp"

using namespace turnstone;
using namespace turnstone::debrief_test;
using Catch::Contains;
using nlohmann::json;

namespace {

const debrief::Advance kGoesOn = [](double) { return true; };

struct RecordedTrial {
    test::TemporaryFolder folder;
    sim::Scenario scenario = trials::trial_scenario("nominal", "mild", "acceptance");
    sim::FlightResult flight = sim::fly(scenario, 5000);
    sim::FlightSetup truth = sim::make_setup(scenario, 5000);
    std::filesystem::path file = recorded_flight(folder.path(), "2026-05-29-1", flight);
    std::string id = "2026-05-29-1~sanderling~1";
};

/// Flown once for all that looks at it.
const RecordedTrial& recorded_trial() {
    static const RecordedTrial trial;
    return trial;
}

json answer_of(const Result<json>& result) {
    INFO((result ? "" : result.error().message));
    REQUIRE(result);
    return json::parse(result->dump());
}

const json& with_key(const json& list, const std::string& key) {
    for (const json& one : list)
        if (one.at("key") == key) return one;
    throw std::runtime_error("no " + key);
}

} // namespace

TEST_CASE("a recorded flight is smoothed, told how far it is, and stopped when asked to") {
    const RecordedTrial& trial = recorded_trial();
    double last = 0;
    bool goes_back = false;
    int told = 0;
    const json answer = answer_of(debrief::smooth({trial.folder.path()}, {{"flight", trial.id}}, [&](double fraction) {
        goes_back |= fraction < last - 1e-9 || fraction > 1;
        last = fraction;
        ++told;
        return true;
    }));
    CHECK(told > 100);
    CHECK(last > 0.9);
    CHECK(!goes_back);
    const json& altitude = with_key(answer.at("series"), "altitude_m");
    double greatest = 0, greatest_sigma = 0;
    for (std::size_t i = 0; i < altitude.at("t_s").size(); ++i)
        if (altitude["value"][i].get<double>() > greatest) {
            greatest = altitude["value"][i];
            greatest_sigma = altitude["sigma"][i];
        }
    INFO("apogee " << greatest << " +- " << greatest_sigma << " of " << trial.flight.truth.events.apogee_m);
    CHECK(std::abs(greatest - trial.flight.truth.events.apogee_m) < 4 * greatest_sigma);
    CHECK(with_key(answer.at("series"), "east_m").at("filter_sigma").size() ==
          with_key(answer.at("series"), "east_m").at("sigma").size());
    const json& tilt = with_key(answer.at("series"), "tilt_deg");
    CHECK(tilt.at("unit") == "deg");
    CHECK(tilt.at("t_s").front().get<double>() < 2);
    CHECK(tilt.at("t_s").back().get<double>() > 60);
    for (const char* values : {"value", "sigma", "filter_value", "filter_sigma"}) {
        REQUIRE(tilt.at(values).size() == tilt.at("t_s").size());
        for (const json& value : tilt.at(values)) CHECK((value.get<double>() >= 0 && value.get<double>() <= 180));
    }
    for (const int asked : {1, 20, told - 5}) {
        int count = 0;
        const auto stopped =
            debrief::smooth({trial.folder.path()}, {{"flight", trial.id}}, [&](double) { return ++count < asked; });
        REQUIRE(!stopped);
        CHECK(stopped.error().message == "stopped");
        CHECK(count == asked);
    }
    CHECK(!debrief::smooth({trial.folder.path()}, {{"flight", "2026-05-29-1~sanderling~9"}}, kGoesOn));
}

TEST_CASE("a recorded flight shows its vehicle, and offers a file that reads") {
    const RecordedTrial& trial = recorded_trial();
    const json answer = answer_of(debrief::performance({trial.folder.path()}, {{"flight", trial.id}}, kGoesOn));
    INFO(answer.at("reasons").dump());
    REQUIRE(answer.at("drag").is_object());
    REQUIRE(answer.at("motor").is_object());
    REQUIRE(answer.at("parachutes").size() == 2);
    // The mass record of the demo is what is believed of the mass; the simulator's is drawn around the vehicle file's.
    // By hand from mass.csv: the newest weighing of each of the 16 parts that do not burn adds up to 2.9185 kg, and 9
    // of 0.5 g and 7 of 0.2 g to 1.59 g. The vehicle file has 2.9 kg.
    CHECK(answer["mass_kg"]["value"].get<double>() == Approx(2.9185).margin(1e-6));
    CHECK(answer["mass_kg"]["sigma"].get<double>() == Approx(0.00159).margin(1e-5));
    const double impulse = answer["motor"]["impulse_n_s"]["value"];
    CHECK(impulse == Approx(trial.truth.thrust_n.integral()).epsilon(0.1));
    for (std::size_t k = 0; k < 2; ++k) {
        CHECK(answer["parachutes"][k]["drag_area_m2"]["value"].get<double>() ==
              Approx(trial.truth.parachutes[k].drag_area_m2).epsilon(0.15));
        const json& opening = answer["parachutes"][k]["opening_s"];
        CHECK(std::abs(opening["value"].get<double>() - trial.truth.parachutes[k].delay_s) <
              4 * opening["sigma"].get<double>());
    }
    const json& drag = answer.at("drag");
    for (std::size_t i = 0; i < drag.at("mach").size(); ++i) {
        CHECK(drag["interval"][0][i] < drag["cd"][i]);
        CHECK(drag["cd"][i].get<double>() == Approx(trial.truth.drag_coefficient.at(drag["mach"][i])).epsilon(0.2));
    }
    std::vector<Problem> problems;
    const Vehicle vehicle = read_vehicle(answer.at("vehicle"), "corrected", problems);
    INFO(to_string(problems));
    REQUIRE(problems.empty());
    REQUIRE(vehicle.rocket);
    CHECK(vehicle.rocket->total_impulse_n_s() == Approx(impulse).epsilon(1e-3));
    for (std::size_t k = 0; k < 2; ++k) {
        CHECK(vehicle.rocket->parachutes[k].drag_area_m2 ==
              Approx(answer["parachutes"][k]["drag_area_m2"]["value"].get<double>()).epsilon(0.01));
        CHECK(vehicle.rocket->parachutes[k].opens_after_s ==
              Approx(std::max(0.0, answer["parachutes"][k]["opening_s"]["value"].get<double>())).margin(0.006));
    }
    CHECK(vehicle.rocket->drag_coefficient.at(drag["mach"].back()) ==
          Approx(drag["cd"].back().get<double>()).epsilon(0.01));
    CHECK(answer["vehicle"]["rocket"]["mass_dry_kg"] == 2.9);
}

TEST_CASE("a recorded flight is compared with the course promised on the rail") {
    const RecordedTrial& trial = recorded_trial();
    const json answer = answer_of(debrief::compare_job({trial.folder.path()}, {{"flights", {trial.id}}}, kGoesOn));
    const json& altitude = with_key(answer.at("series"), "altitude_m");
    REQUIRE(altitude.at("prediction").is_object());
    int inside = 0, compared = 0;
    for (std::size_t i = 0; i < altitude["t_s"].size(); ++i) {
        const json& predicted = altitude["prediction"]["value"][i];
        const json& flown = altitude["flights"][0]["value"][i];
        if (predicted.is_null() || flown.is_null() || altitude["t_s"][i] > 15) continue;
        ++compared;
        inside += std::abs(predicted.get<double>() - flown.get<double>()) <=
                  3 * altitude["prediction"]["sigma"][i].get<double>() + 5;
    }
    CHECK(compared > 100);
    CHECK(inside == compared);
    const json& apogee = with_key(answer.at("figures"), "apogee_m");
    REQUIRE(apogee["predictions"][0].is_object());
    CHECK(std::abs(apogee["predictions"][0]["minus"].get<double>()) <
          4 * apogee["predictions"][0]["minus_sigma"].get<double>());
}

TEST_CASE("the printed report of a flight has what it showed once it was over") {
    const RecordedTrial& trial = recorded_trial();
    const auto page = report_page(trial.file);
    INFO((page ? "" : page.error().message));
    REQUIRE(page);
    CHECK(report_test::is_well_formed(*page));
    CHECK(page->find("nan") == std::string::npos);
    test::write_file(test::build_path("reports") / "simulated-flight.html", *page);
    CHECK_THAT(*page, Contains("Course against prediction") && Contains("From both sides") &&
                          Contains("Drag, motor and parachutes") && Contains("Total impulse") &&
                          Contains("Drag coefficient at Mach") && Contains("drag area"));
    CHECK_THAT(*page, !Contains("Not worked out"));
}
