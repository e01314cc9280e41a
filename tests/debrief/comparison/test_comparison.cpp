// Recordings made by hand, compared: what each moment, each figure and each file says, against sums done here.
#include <catch2/catch.hpp>

#include <cmath>
#include <numbers>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

#include "server/debrief/comparison/comparison.hpp"
#include "tests/report/recording.hpp"

using namespace turnstone;
using namespace turnstone::report_test;
using Catch::Contains;
using nlohmann::json;

namespace {

constexpr std::int64_t kDay_ns = 86'400'000'000'000;
constexpr double kLiftoff_s = 20, kApogeeAt_s = 12;
const debrief::Advance kOn = [](double) { return true; };

struct MadeFlight {
    double apogee_m;
    double burnout_s = 2;
    double day = 0;
    double mass_kg = 2.9;
    bool has_burnout = true;
    double bearing_deg = 90; ///< of the landing, 50 m from the pad
};

double made_altitude_m(const MadeFlight& flight, double t_s) {
    if (t_s < 0) return 0;
    if (t_s < kApogeeAt_s) return flight.apogee_m * (1 - std::pow(1 - t_s / kApogeeAt_s, 2));
    return std::max(0.0, flight.apogee_m - 20 * (t_s - kApogeeAt_s));
}

/// Between 20 and 24 s after liftoff nothing was estimated. Returns the flight's id.
std::string recorded_flight(const test::TemporaryFolder& folder, const MadeFlight& flight) {
    HandMade made(demo_setup(), kStart_ns + static_cast<std::int64_t>(flight.day * static_cast<double>(kDay_ns)));
    json vehicle = json::parse(made.setup().vehicles[0].vehicle_json);
    vehicle["rocket"]["mass_dry_kg"] = flight.mass_kg;
    made.setup().vehicles[0].vehicle_json = vehicle.dump();
    using enum EventId;
    const auto at = [](double flight_s) { return kLiftoff_s + flight_s; };
    made.event(phase_began, 1, {{"phase", std::string("on the rail")}}, "on_the_rail");
    made.event(liftoff, at(0), {}, "", false, 0.02);
    if (flight.has_burnout) made.event(burnout, at(flight.burnout_s));
    made.event(apogee, at(kApogeeAt_s), {}, "", false, 0.1);
    made.event(drogue_out, at(kApogeeAt_s + 0.5));
    made.event(touchdown, at(70));
    for (int i = -100; i < 800; ++i) {
        const double t_s = 0.1 * i;
        if (t_s > 20 && t_s < 24) continue;
        made.row("sanderling/estimate/vertical", at(t_s),
                 {{"altitude_m", made_altitude_m(flight, t_s)},
                  {"altitude_m_sigma", 2},
                  {"vertical_speed_mps", 10 * (made_altitude_m(flight, t_s + 0.1) - made_altitude_m(flight, t_s))},
                  {"vertical_speed_mps_sigma", 1}});
    }
    made.row("sanderling/estimate/ascent", at(-3), {{"apogee_m", 1000}, {"apogee_m_sigma", 40}, {"apogee_in_s", 12.5}});
    made.row("sanderling/estimate/derived", at(79),
             {{"altitude_max_m", flight.apogee_m}, {"altitude_max_m_sigma", 2}, {"altitude_max_t_s", kApogeeAt_s}});
    made.row("sanderling/estimate/last_place", at(75),
             {{"east_m", 50 * std::sin(flight.bearing_deg * std::numbers::pi / 180)},
              {"north_m", 50 * std::cos(flight.bearing_deg * std::numbers::pi / 180)},
              {"horizontal_sigma_m", 2}});
    const std::filesystem::path file = made.record(folder, at(85));
    return file.stem().string() + "~sanderling~1";
}

const json& named(const json& list, const std::string& key) {
    for (const json& one : list)
        if (one.at("key") == key) return one;
    throw std::runtime_error("no " + key);
}

std::size_t place_of(const json& t_s, double wanted_s) {
    for (std::size_t i = 0; i < t_s.size(); ++i)
        if (std::abs(t_s[i].get<double>() - wanted_s) < 1e-9) return i;
    throw std::runtime_error("not on the time base");
}

/// As it reaches a client.
json answered(const test::TemporaryFolder& folder, const json& request) {
    const auto result = debrief::compare_job({folder.path()}, request, kOn);
    INFO((result ? "" : result.error().message));
    REQUIRE(result);
    return json::parse(result->dump());
}

} // namespace

TEST_CASE("flights are laid upon each other moment by moment") {
    const test::TemporaryFolder folder;
    const std::vector<MadeFlight> flown{{1000}, {1030}, {1090, 2.4}};
    json ids = json::array();
    for (const MadeFlight& flight : flown) {
        MadeFlight dated = flight;
        dated.day = static_cast<double>(ids.size());
        ids.push_back(recorded_flight(folder, dated));
    }
    const json answer = answered(folder, {{"flights", ids}, {"align", "liftoff"}});
    REQUIRE(answer.at("flights").size() == 3);
    CHECK(answer["flights"][2]["letter"] == "C");
    CHECK(answer["flights"][0]["aligned_utc_ns"] == std::to_string(kStart_ns + 20 * kDay_ns / 86'400));
    const json& altitude = named(answer.at("series"), "altitude_m");
    CHECK(altitude.at("unit") == "m");
    const json& t_s = altitude.at("t_s");
    for (const double moment_s : {3.0, 11.0, 30.0}) {
        INFO("at " << moment_s);
        const std::size_t i = place_of(t_s, moment_s);
        std::vector<double> values;
        double sum = 0, squares = 0;
        for (std::size_t f = 0; f < 3; ++f) {
            values.push_back(made_altitude_m(flown[f], moment_s));
            sum += values.back();
            // The recording keeps a tenth of the last digit shown.
            CHECK(altitude["flights"][f]["value"][i].get<double>() == Approx(values[f]).margin(0.02));
            CHECK(altitude["flights"][f]["sigma"][i].get<double>() == Approx(2).margin(0.02));
            CHECK(altitude["minus_first"][f][i].get<double>() == Approx(values[f] - values[0]).margin(0.03));
        }
        for (const double value : values) squares += std::pow(value - sum / 3, 2);
        const double sd = std::sqrt(squares / 2);
        CHECK(altitude["mean"][i].get<double>() == Approx(sum / 3).margin(0.02));
        CHECK(altitude["sd"][i].get<double>() == Approx(sd).margin(0.05));
        // t(0.975, 2) = 4.302653.
        const double reach = 4.302653 * sd / std::sqrt(3.0);
        CHECK(altitude["interval"][0][i].get<double>() == Approx(sum / 3 - reach).margin(0.1));
        CHECK(altitude["interval"][1][i].get<double>() == Approx(sum / 3 + reach).margin(0.1));
    }
    const std::size_t in_gap = place_of(t_s, 22);
    CHECK(altitude["mean"][in_gap].is_null());
    CHECK(altitude["flights"][1]["value"][in_gap].is_null());
    CHECK(altitude["minus_first"][1][in_gap].is_null());
}

TEST_CASE("flights are aligned where they are asked to be") {
    const test::TemporaryFolder folder;
    const MadeFlight first{1000, 2.0}, second{1000, 3.0, 1};
    const json ids{recorded_flight(folder, first), recorded_flight(folder, second)};
    const json at_burnout = answered(folder, {{"flights", ids}, {"align", "burnout"}});
    const json& altitude = named(at_burnout.at("series"), "altitude_m");
    const std::size_t i = place_of(altitude.at("t_s"), 4);
    CHECK(altitude["flights"][0]["value"][i].get<double>() == Approx(made_altitude_m(first, 6)).margin(0.02));
    CHECK(altitude["flights"][1]["value"][i].get<double>() == Approx(made_altitude_m(second, 7)).margin(0.02));
    const json at_drogue = answered(folder, {{"flights", ids}, {"align", "drogue_out"}});
    const json& falling = named(at_drogue.at("series"), "altitude_m");
    CHECK(falling["flights"][0]["value"][place_of(falling.at("t_s"), 1)].get<double>() ==
          Approx(made_altitude_m(first, kApogeeAt_s + 1.5)).margin(0.02));

    MadeFlight unseen{1000, 2, 2};
    unseen.has_burnout = false;
    const std::string id = recorded_flight(folder, unseen);
    const auto refused = debrief::compare_job({folder.path()}, {{"flights", {id}}, {"align", "burnout"}}, kOn);
    REQUIRE(!refused);
    CHECK_THAT(refused.error().message, Contains("A (") && Contains("UTC) has no burnout"));
    CHECK(!debrief::compare_job({folder.path()}, {{"flights", {"none~sanderling~1"}}}, kOn));
    const auto stopped = debrief::compare_job({folder.path()}, {{"flights", ids}}, [](double) { return false; });
    REQUIRE(!stopped);
    CHECK(stopped.error().message == "stopped");
}

TEST_CASE("figures have their spread, their outlier, their trend and what had been predicted") {
    const test::TemporaryFolder folder;
    // The apogees of "grubbs_apogees_one_high" in spirit: one that does not belong.
    const double apogees[] = {1000, 1004, 1001, 1003, 1002, 1080};
    json ids = json::array();
    for (std::size_t i = 0; i < 6; ++i) ids.push_back(recorded_flight(folder, {apogees[i], 2, static_cast<double>(i)}));
    const json answer = answered(folder, {{"flights", ids}});
    const json& apogee = named(answer.at("figures"), "apogee_m");
    CHECK(apogee["n"] == 6);
    // By hand: mean 1015, squares 225+121+196+144+169+4225 = 5080, sd sqrt(1016) = 31.8748, t(0.975, 5) = 2.570582.
    CHECK(apogee["mean"].get<double>() == Approx(1015));
    CHECK(apogee["sd"].get<double>() == Approx(31.8748).margin(1e-3));
    CHECK(apogee["interval"][0].get<double>() == Approx(1015 - 2.570582 * 31.8748 / std::sqrt(6.0)).margin(0.01));
    CHECK(apogee["relative_spread"].get<double>() == Approx(31.8748 / 1015).margin(1e-5));
    REQUIRE(apogee["outliers"].size() == 1);
    CHECK(apogee["outliers"][0]["flight"] == 5);
    CHECK(apogee["outliers"][0]["test"] == "Grubbs");
    CHECK(apogee["outliers"][0]["statistic"].get<double>() == Approx(65 / 31.8748).margin(1e-3));
    CHECK(apogee["outliers"][0]["critical"].get<double>() == Approx(1.8871).margin(1e-3)); // table, n = 6, 5 %
    CHECK(apogee["predictions"][1]["value"].get<double>() == Approx(1000));
    CHECK(apogee["predictions"][1]["minus"].get<double>() == Approx(4));
    CHECK(apogee["predictions"][1]["minus_sigma"].get<double>() == Approx(std::hypot(40, 2)).margin(0.1));
    // Slope by hand: sum of (i - 2.5)(y - 1015) over 17.5 = 195 / 17.5.
    double products = 0;
    for (std::size_t i = 0; i < 6; ++i) products += (static_cast<double>(i) - 2.5) * (apogees[i] - 1015);
    const json& trend = named(answer.at("trend"), "apogee_m");
    CHECK(trend["slope_per_day"].get<double>() == Approx(products / 17.5).epsilon(1e-6));
    CHECK(trend["n"] == 6);
    CHECK(trend["interval"][0].get<double>() < 0);
    CHECK(trend["interval"][1].get<double>() > products / 17.5);
    double residual_squares = 0;
    for (std::size_t i = 0; i < 6; ++i)
        residual_squares += std::pow(apogees[i] - 1015 - products / 17.5 * (static_cast<double>(i) - 2.5), 2);
    const double slope_error = std::sqrt(residual_squares / 4 / 17.5);
    CHECK(trend.at("slope_error").get<double>() == Approx(slope_error).epsilon(1e-6));
    // t(0.975, 4) = 2.776445.
    CHECK(trend["interval"][1].get<double>() == Approx(products / 17.5 + 2.776445 * slope_error).epsilon(1e-5));
}

TEST_CASE("bearings have neither mean nor outlier nor trend, which north would break") {
    const test::TemporaryFolder folder;
    const double bearings_deg[] = {358, 2, 1, 359, 0.5, 3};
    json ids = json::array();
    for (std::size_t i = 0; i < 6; ++i) {
        MadeFlight flight{1000.0 + static_cast<double>(i), 2, static_cast<double>(i)};
        flight.bearing_deg = bearings_deg[i];
        ids.push_back(recorded_flight(folder, flight));
    }
    const json answer = answered(folder, {{"flights", ids}});
    const json& bearing = named(answer.at("figures"), "landing_deg");
    CHECK(bearing["values"][0]["value"].get<double>() == Approx(358).margin(0.1));
    for (const char* key : {"mean", "sd", "relative_spread"}) CHECK(bearing.at(key).is_null());
    CHECK(bearing["interval"] == json{nullptr, nullptr});
    CHECK(bearing["outliers"].empty());
    CHECK_THROWS(named(answer.at("trend"), "landing_deg"));
    CHECK(named(answer.at("trend"), "apogee_m")["slope_per_day"].get<double>() == Approx(1));
}

TEST_CASE("flights of one evening have no trend over days") {
    const test::TemporaryFolder folder;
    json ids = json::array();
    for (const double hours : {0.0, 1.0, 3.0}) ids.push_back(recorded_flight(folder, {1000 + hours, 2, hours / 24}));
    CHECK(answered(folder, {{"flights", ids}}).at("trend").empty());
}

TEST_CASE("what changed in the vehicle's file stands between the flights it lies between") {
    const test::TemporaryFolder folder;
    MadeFlight heavier{1000, 2, 1};
    heavier.mass_kg = 3.05;
    MadeFlight again = heavier;
    again.day = 2;
    const json ids{recorded_flight(folder, {1000}), recorded_flight(folder, heavier), recorded_flight(folder, again)};
    const json answer = answered(folder, {{"flights", ids}});
    REQUIRE(answer.at("changes").size() == 2);
    REQUIRE(answer["changes"][0]["changes"].size() == 1);
    const json& change = answer["changes"][0]["changes"][0];
    CHECK(change["pointer"] == "/rocket/mass_dry_kg");
    CHECK(change["before"] == 2.9);
    CHECK(change["after"] == 3.05);
    CHECK(answer["changes"][1]["changes"].empty());
}
