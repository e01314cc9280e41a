// Interpolation, impulse and mass against hand-worked trapezoids; readers against the demo files and mistakes
// made in them.
#include <cmath>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "shared/site.hpp"
#include "shared/vehicle.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

struct Mistake {
    const char* at; ///< where the demo file is changed (JSON Pointer); "-" in front removes
    const char* value;
    const char* pointer; ///< expected of the one problem
};

template <class Read>
void check_mistakes(const nlohmann::json& good, const std::vector<Mistake>& mistakes, Read&& read) {
    for (const Mistake& mistake : mistakes) {
        nlohmann::json json = good;
        INFO(mistake.at << " = " << mistake.value);
        if (mistake.at[0] == '-') {
            const nlohmann::json::json_pointer at(mistake.at + 1);
            json.at(at.parent_pointer()).erase(at.back());
        } else {
            json[nlohmann::json::json_pointer(mistake.at)] = nlohmann::json::parse(mistake.value);
        }
        std::vector<Problem> problems;
        read(json, problems);
        INFO(to_string(problems));
        REQUIRE(problems.size() == 1);
        CHECK(problems.front().pointer == mistake.pointer);
    }
}

} // namespace

TEST_CASE("The demo vehicle reads without a mistake") {
    std::vector<Problem> problems;
    const Vehicle vehicle = read_vehicle(read_json(demo_path("sanderling/vehicle.json")), "vehicle.json", problems);
    CHECK(to_string(problems).empty());
    REQUIRE(vehicle.rocket);
    REQUIRE(vehicle.rocket->parachutes.size() == 2);
    CHECK_FALSE(vehicle.rocket->parachutes[0].opens_below_m);
    CHECK(vehicle.rocket->parachutes[0].opens_after_s == 0.5);
    CHECK(vehicle.rocket->parachutes[1].opens_below_m == 180.0);
    CHECK(vehicle.rocket->parachutes[1].opens_after_s == 0.2);
    CHECK(vehicle.rocket->mass_kg(0) == Approx(vehicle.rocket->mass_dry_kg + vehicle.rocket->mass_propellant_kg));
    CHECK(vehicle.rocket->mass_kg(vehicle.rocket->burn_time_s()) == Approx(vehicle.rocket->mass_dry_kg));
    CHECK(vehicle.rocket->mass_kg(1e9) == Approx(vehicle.rocket->mass_dry_kg));
}

TEST_CASE("The demo site reads without a mistake") {
    std::vector<Problem> problems;
    const Site site = read_site(read_json(demo_path("site.json")), "site.json", problems);
    CHECK(to_string(problems).empty());
    CHECK(site.boundary.size() == 5);
    CHECK(site.pad_pressure_pa == Approx(90420));
    CHECK_FALSE(site.terrain);
}

TEST_CASE("What a vehicle's sensors and flights scatter by is read from its file, with defaults for the rest") {
    const auto read = [](const nlohmann::json& json) {
        std::vector<Problem> problems;
        Vehicle vehicle = read_vehicle(json, "vehicle.json", problems);
        CHECK(to_string(problems).empty());
        return vehicle;
    };
    nlohmann::json json = read_json(demo_path("sanderling/vehicle.json"));
    json["sensors"]["imu_sample_time"] = "middle";
    json["sensors"]["imu_group_delay_s"] = 0.004;
    json["sensors"]["fix_correlated_share"] = 0.75;
    json["rocket"]["scatter"] = {{"drag", 0.07}};
    json["rocket"]["failures"] = {{"late_opening", 0.2}};
    const Vehicle vehicle = read(json);
    CHECK(vehicle.sensors.imu_sample_time == SampleTime::middle);
    CHECK(vehicle.sensors.imu_group_delay_s == 0.004);
    CHECK(vehicle.sensors.fix_correlated_share == 0.75);
    CHECK(vehicle.rocket->scatter.drag == 0.07);
    CHECK(vehicle.rocket->scatter.thrust == FlightScatter{}.thrust);
    CHECK(vehicle.rocket->failures.late_opening == 0.2);
    CHECK(vehicle.rocket->failures.both_fail == FailureProbabilities{}.both_fail);
    CHECK(read({{"name", "buoy"}}).sensors.imu_sample_time == SampleTime::end);
}

TEST_CASE("A site's temperatures and the scatter of its forecast are read from its file") {
    std::vector<Problem> problems;
    nlohmann::json json = read_json(demo_path("site.json"));
    json["temperature"] = {{{"height_m", 0}, {"temperature_k", 290}}, {{"height_m", 1500}, {"temperature_k", 281.5}}};
    json["forecast"] = {{"wind_from_deg", 30}};
    const Site site = read_site(json, "site.json", problems);
    CHECK(to_string(problems).empty());
    REQUIRE(site.temperature.size() == 2);
    CHECK(site.temperature[1].height_m == 1500.0);
    CHECK(site.temperature[1].temperature_k == 281.5);
    CHECK(site.forecast.wind_from_deg == 30.0);
    CHECK(site.forecast.wind_speed_mps == ForecastScatter{}.wind_speed_mps);
}

TEST_CASE("Mistakes in a vehicle file are reported where they are") {
    check_mistakes(
        read_json(demo_path("sanderling/vehicle.json")),
        {
            {"-/name", "", "/name"},
            {"/rocket/mass_dry_kg", "0", "/rocket/mass_dry_kg"},
            {"/rocket/thrust/3/0", "0.01", "/rocket/thrust/3/0"},
            {"/rocket/thrust/3/1", "-5", "/rocket/thrust/3/1"},
            {"/rocket/thrust/9/1", "4", "/rocket/thrust"},
            {"/rocket/thrust/2", "[1]", "/rocket/thrust/2"},
            {"/rocket/drag_coefficient", "[]", "/rocket/drag_coefficient"},
            {"/rocket/parachutes/0/opens/at", "\"apogees\"", "/rocket/parachutes/0/opens/at"},
            {"-/rocket/parachutes/1/opens/below_m", "", "/rocket/parachutes/1/opens"},
            {"/rocket/parachutes/0/opens/below_m", "3", "/rocket/parachutes/0/opens"},
            {"/rocket/parachutes/0/opens/after_s", "-1", "/rocket/parachutes/0/opens/after_s"},
            {"/rocket/colour", "\"red\"", "/rocket/colour"},
            {"/rocket/scatter/thrust", "5", "/rocket/scatter/thrust"},
            {"/rocket/scatter/wind", "0.1", "/rocket/scatter/wind"},
            {"/rocket/failures/main_fails", "0.9", "/rocket/failures"},
            {"/rocket/failures/both_fail", "-0.1", "/rocket/failures/both_fail"},
            {"/sensors/imu_sample_time", "\"centre\"", "/sensors/imu_sample_time"},
            {"/sensors/accel_scale", "1", "/sensors/accel_scale"},
            {"/sensors/fix_correlated_share", "1.1", "/sensors/fix_correlated_share"},
            {"/sensors/gyro_noise", "1", "/sensors/gyro_noise"},
            {"/sensors", "[]", "/sensors"},
        },
        [](const auto& json, auto& problems) { (void)read_vehicle(json, "vehicle.json", problems); });
}

TEST_CASE("Mistakes in a site file are reported where they are") {
    check_mistakes(
        read_json(demo_path("site.json")),
        {
            {"-/pad", "", "/pad"},
            {"/pad/latitude_deg", "91", "/pad/latitude_deg"},
            {"-/station/height_m", "", "/station/height_m"},
            {"/station/longitude_deg", "-23.1", "/station"},
            {"/boundary", R"([{"latitude_deg":1,"longitude_deg":1}])", "/boundary"},
            {"/boundary/1/longitude_deg", "\"west\"", "/boundary/1/longitude_deg"},
            {"/wind/2/height_m", "300", "/wind/2/height_m"},
            {"/pad_pressure_pa", "904.2", "/pad_pressure_pa"},
            {"/pad_temperature_k", "23", "/pad_temperature_k"},
            {"/launch_tilt_deg", "50", "/launch_tilt_deg"},
            {"/terrain",
             R"({"south_deg":-22,"west_deg":23,"step_latitude_deg":0.1,"step_longitude_deg":0.1,)"
             R"("rows":2,"columns":3,"height_m":[1,2,3,4]})",
             "/terrain/height_m"},
            {"/temperature/1/height_m", "0", "/temperature/1/height_m"},
            {"/temperature/0/temperature_k", "23", "/temperature/0/temperature_k"},
            {"/forecast/wind_from_deg", "200", "/forecast/wind_from_deg"},
            {"/forecast/rain", "1", "/forecast/rain"},
            {"/wnd", "0", "/wnd"},
        },
        [](const auto& json, auto& problems) { (void)read_site(json, "site.json", problems); });
}

TEST_CASE("A curve interpolates between its points and holds its end values") {
    const Curve curve{{0.0, 1.0, 3.0}, {10.0, 20.0, 0.0}};
    CHECK(curve.at(-1) == 10.0);
    CHECK(curve.at(0.5) == Approx(15.0));
    CHECK(curve.at(1.0) == Approx(20.0));
    CHECK(curve.at(2.5) == Approx(5.0));
    CHECK(curve.at(9) == 0.0);
    CHECK(std::isnan(curve.at(std::nan(""))));
    CHECK(std::isnan(Curve{}.at(1)));
}

TEST_CASE("Impulse and mass follow the trapezoid under the thrust curve") {
    RocketModel rocket{};
    rocket.mass_dry_kg = 2.0;
    rocket.mass_propellant_kg = 1.0;
    rocket.thrust_n = {{0.0, 1.0, 3.0, 4.0}, {0.0, 100.0, 100.0, 0.0}};
    // 50 + 200 + 50 newton seconds.
    CHECK(rocket.total_impulse_n_s() == Approx(300.0));
    CHECK(rocket.burn_time_s() == 4.0);
    CHECK(rocket.mass_kg(-1) == Approx(3.0));
    CHECK(rocket.mass_kg(0.5) == Approx(3.0 - 12.5 / 300.0));
    CHECK(rocket.mass_kg(2.0) == Approx(2.5));
    CHECK(rocket.mass_kg(4.0) == Approx(2.0));
}
