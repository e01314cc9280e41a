// The profile's gusts against tests/reference/numerics2/dryden.json (the low-altitude formulas of MIL-F-8785C as public
// documents quote them), and what it makes of measurements against the conditional normal distribution.
#include <catch2/catch.hpp>

#include <cmath>

#include "server/estimate/air/wind_profile.hpp"
#include "shared/constants.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone;
using namespace turnstone::estimate;

namespace {

/// The same wind at all heights, from the west, known but for its gusts.
Site steady(double wind_mps) {
    Site site{};
    site.wind = {{0, wind_mps, 270}};
    site.forecast.wind_speed_relative = site.forecast.wind_speed_mps = site.forecast.wind_from_deg = 0;
    return site;
}

} // namespace

TEST_CASE("gusts are as strong as the specification says, and a day's doubt more") {
    int rows = 0;
    for (const auto& c : test::read_reference("numerics2/dryden.json").at("cases")) {
        if (c.at("id") != "scale_lengths_and_intensities") continue;
        for (std::size_t k = 0; k < c.at("inputs").at("rows").size(); ++k, ++rows) {
            const auto& in = c.at("inputs").at("rows")[k];
            const auto& expected = c.at("expected").at("rows")[k];
            const WindProfile wind(steady(in[1]));
            CAPTURE(in[0].get<double>(), in[1].get<double>());
            CHECK(wind.sigma_mps(in[0]) == Approx(WindProfile::kGustiness * expected[3].get<double>()));
        }
    }
    CHECK(rows > 20);
    CHECK(WindProfile(steady(0)).sigma_mps(50) == 0);
}

TEST_CASE("drift measured at a height says what gusts are met around it, less with every scale length") {
    WindProfile wind(steady(6));
    const auto node = [](double height_m) { return static_cast<int>(WindProfile::node_at(height_m)); };
    const auto before = wind.covariance();
    const int at = node(600), below = node(450);
    // From 1000 ft upwards the scale length is 1000 ft.
    const double alike = std::exp(-150 / (1000 * kFoot_m));
    CHECK(before(at, below) / std::sqrt(before(at, at) * before(below, below)) == Approx(alike));

    const double sigma_mps = 0.3, gust_mps = 1.5;
    wind.measure(600, {6 + gust_mps, -gust_mps}, sigma_mps);
    const double seen = before(at, at) + sigma_mps * sigma_mps;
    const double told = before(below, at) / seen;
    CHECK(wind.at(450).x() - 6 == Approx(told * gust_mps));
    CHECK(wind.at(450).y() == Approx(-told * gust_mps));
    CHECK(std::pow(wind.sigma_mps(450), 2) == Approx(before(below, below) - told * before(at, below)));
    CHECK(wind.sigma_mps(600) < sigma_mps);
    CHECK(wind.sigma_mps(50) > 0.9 * WindProfile(steady(6)).sigma_mps(50));
}

TEST_CASE("gusts above the last fall say less of those near the ground, whose scale shrinks with height") {
    // The published scale length grows with height: between two of its rows it lies between theirs.
    const double node_m = WindProfile::node_height_m(1);
    double most = 0, least = 0, from_m = 0, from_length_m = 0;
    for (const auto& c : test::read_reference("numerics2/dryden.json").at("cases")) {
        if (c.at("id") != "scale_lengths_and_intensities") continue;
        for (std::size_t k = 0; k < c.at("inputs").at("rows").size() && from_m < node_m; ++k) {
            const double height_m = c.at("inputs").at("rows")[k][0], length_m = c.at("expected").at("rows")[k][0];
            if (height_m == from_m) continue; // another wind
            const double slice_m = std::min(height_m, node_m) - from_m;
            most += slice_m / (from_m == 0 ? length_m : from_length_m); // below the first row it stays
            least += slice_m / length_m;
            from_m = height_m;
            from_length_m = length_m;
        }
    }
    REQUIRE(from_m > node_m);
    const auto told = WindProfile(steady(6)).covariance();
    const double alike = told(0, 1) / std::sqrt(told(0, 0) * told(1, 1));
    CAPTURE(alike);
    CHECK(alike > std::exp(-most));
    CHECK(alike < std::exp(-least));
}

TEST_CASE("an hour of the pad's anemometer leaves the gusts of the flight unknown") {
    WindProfile wind(steady(5));
    const double gusts_mps = wind.sigma_mps(5);
    for (int minute = 0; minute <= 60; ++minute) wind.anemometer((minute * 60LL + 1) * 1000000000, 5, 270);
    CHECK(wind.sigma_mps(5) == Approx(gusts_mps).epsilon(0.01));
}
