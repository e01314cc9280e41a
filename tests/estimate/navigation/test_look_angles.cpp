// Look angles against tests/reference/geodesy.json (GeographicLib's Cartesian conversion; ranges and angles by
// arithmetic).
#include <catch2/catch.hpp>

#include <algorithm>
#include <numbers>
#include <random>
#include <string>

#include "server/estimate/navigation/look_angles.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using namespace turnstone::test;
using Eigen::Matrix3d;
using Eigen::Vector3d;

namespace {

constexpr double kDegree = std::numbers::pi / 180;

} // namespace

TEST_CASE("azimuth, elevation and slant range to a place agree with the reference") {
    int checked = 0;
    for (const auto& c : read_reference("geodesy.json").at("enu")) {
        INFO(c["id"]);
        const double range = c["slant_range_m"];
        if (range < 1) continue; // the station itself: see the next case
        Site site;
        site.station = {c["lat0_deg"], c["lon0_deg"], c["h0_m"]};
        site.pad = {c["lat_deg"], c["lon_deg"], c["h_m"]};
        site.declination_deg = 12.5;
        site.antenna_beamwidth_deg = 40;
        const auto look = StationView(site).look_angles(Vector3d::Zero(), Vector3d(0, 0, 0), Matrix3d::Zero());
        CHECK(look.slant_range_m == Approx(range).epsilon(1e-9).margin(1e-6));
        CHECK(look.elevation_rad / kDegree == Approx(c["elevation_deg"].get<double>()).margin(1e-6));
        const double ground = std::hypot(c["east_m"].get<double>(), c["north_m"].get<double>());
        if (ground > 1) {
            const double off = std::remainder(look.azimuth_true_rad / kDegree - c["azimuth_deg"].get<double>(), 360);
            CHECK(std::abs(off) < 1e-5);
            const double magnetic_off =
                std::remainder((look.azimuth_true_rad - look.azimuth_magnetic_rad) / kDegree - 12.5, 360);
            CHECK(std::abs(magnetic_off) < 1e-9);
        }
        ++checked;
    }
    REQUIRE(checked > 40);
}

TEST_CASE("range rate, sigmas and the beam follow from the geometry") {
    Site site;
    site.station = {40.1, -117.9, 1190};
    site.pad = site.station;
    site.antenna_beamwidth_deg = 20;
    const StationView view(site);
    SECTION("along the line of sight the range grows by the whole speed, across it by nothing") {
        CHECK(view.look_angles({300, 400, 0}, {3, 4, 0}, Matrix3d::Zero()).range_rate_mps == Approx(5).margin(1e-6));
        CHECK(view.look_angles({300, 400, 0}, {-4, 3, 0}, Matrix3d::Zero()).range_rate_mps == Approx(0).margin(1e-6));
        CHECK(view.look_angles({0, 0, 500}, {0, 0, -7}, Matrix3d::Zero()).range_rate_mps == Approx(-7).margin(1e-6));
    }
    SECTION("ten metres of 1-sigma at a kilometre are ten milliradians, against half a beam of ten degrees") {
        const auto look = view.look_angles({0, 1000, 0}, Vector3d::Zero(), Matrix3d::Identity() * 100);
        CHECK(look.azimuth_sigma_rad == Approx(0.01).epsilon(1e-4));
        CHECK(look.elevation_sigma_rad == Approx(0.01).epsilon(1e-4));
        CHECK(look.slant_range_sigma_m == Approx(10).epsilon(1e-4));
        CHECK(look.pointing_error_half_beams == Approx(std::sqrt(2.0) * 0.01 / (10 * kDegree)).epsilon(1e-3));
    }
    SECTION("straight overhead there is no azimuth; at the station there is no direction; NaN stays NaN") {
        CHECK(std::isnan(view.look_angles({0, 0, 800}, Vector3d::Zero(), Matrix3d::Zero()).azimuth_true_rad));
        CHECK(view.look_angles({0, 0, 800}, Vector3d::Zero(), Matrix3d::Zero()).elevation_rad == Approx(90 * kDegree));
        CHECK(std::isnan(view.look_angles(Vector3d::Zero(), Vector3d::Zero(), Matrix3d::Zero()).elevation_rad));
        CHECK(std::isnan(view.look_angles({NAN, 0, 0}, Vector3d::Zero(), Matrix3d::Zero()).slant_range_m));
    }
}

// The truth is drawn here: the root mean square of the angles of 20000 places about the one given.
TEST_CASE("angles to a place that is unsure by more than its distance stray by as much as they say") {
    struct Row {
        std::string what;
        Vector3d place_m, sigma_m;
    };
    const Row row = GENERATE(Row{"a hundredth of the distance", {600, 800, 500}, {10, 10, 10}},
                             Row{"a tenth, tall", {600, 800, 500}, {30, 30, 110}},
                             Row{"under a main, dead reckoned", {600, 800, 500}, {2000, 2000, 8}},
                             Row{"the same, farther unsure one way", {200, -300, 900}, {400, 3000, 8}},
                             Row{"overhead, a little aside", {5, 0, 700}, {60, 60, 5}},
                             Row{"before liftoff, close by", {40, 10, 1}, {60, 60, 20}});
    INFO(row.what);
    Site site;
    site.station = {40.1, -117.9, 1190};
    site.pad = site.station;
    site.antenna_beamwidth_deg = 20;
    const StationView view(site);
    const auto look =
        view.look_angles(row.place_m, Vector3d::Zero(), row.sigma_m.cwiseAbs2().asDiagonal().toDenseMatrix());
    std::mt19937_64 random(7);
    std::normal_distribution<double> normal;
    constexpr int kPlaces = 20000;
    double azimuth = 0, elevation = 0, direction = 0;
    for (int i = 0; i < kPlaces; ++i) {
        const Vector3d off_m(normal(random), normal(random), normal(random));
        const Vector3d place_m = row.place_m + row.sigma_m.cwiseProduct(off_m);
        const auto truth = view.look_angles(place_m, Vector3d::Zero(), Matrix3d::Zero());
        const double turned = std::remainder(truth.azimuth_true_rad - look.azimuth_true_rad, 360 * kDegree);
        const double angle = std::acos(std::clamp(place_m.normalized().dot(row.place_m.normalized()), -1.0, 1.0));
        azimuth += turned * turned / kPlaces;
        elevation += std::pow(truth.elevation_rad - look.elevation_rad, 2) / kPlaces;
        direction += angle * angle / kPlaces;
    }
    const auto as_said = [](double truth, double sigma) { return truth / sigma > 0.75 && truth / sigma < 1.35; };
    INFO("azimuth " << std::sqrt(azimuth) << " for " << look.azimuth_sigma_rad << ", elevation " << std::sqrt(elevation)
                    << " for " << look.elevation_sigma_rad);
    CHECK(as_said(std::sqrt(azimuth), look.azimuth_sigma_rad));
    CHECK(as_said(std::sqrt(elevation), look.elevation_sigma_rad));
    const double said = look.pointing_error_half_beams * 10 * kDegree;
    INFO("direction " << std::sqrt(direction) << " for " << said);
    CHECK(as_said(std::sqrt(direction), said));
}
