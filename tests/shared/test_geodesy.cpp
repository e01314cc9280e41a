// Reference: tests/reference/geodesy.json (NIMA TR8350.2 3rd ed.; Karney, J. Geodesy 87 (2013) 43-55; values
// computed with the CartConvert, GeodSolve and NormalGravity programs of GeographicLib 2.1.2).
#include <cmath>

#include <catch2/catch.hpp>

#include "shared/geodesy.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {
const nlohmann::json& geodesy() {
    return read_reference("geodesy.json");
}

double angle_between_deg(double a_deg, double b_deg) {
    return std::abs(std::remainder(a_deg - b_deg, 360.0));
}
} // namespace

TEST_CASE("Earth-centred coordinates agree with the reference in both directions") {
    std::size_t count = 0;
    for (const auto& row : geodesy()["ecef"]) {
        INFO(row["id"]);
        const GeodeticPosition position{row["lat_deg"], row["lon_deg"], row["h_m"]};
        const Eigen::Vector3d ecef_m = to_ecef_m(position);
        CHECK(ecef_m.x() == Approx(row["x_m"].get<double>()).margin(1e-6));
        CHECK(ecef_m.y() == Approx(row["y_m"].get<double>()).margin(1e-6));
        CHECK(ecef_m.z() == Approx(row["z_m"].get<double>()).margin(1e-6));
        const GeodeticPosition back = from_ecef_m(ecef_m);
        CHECK(back.latitude_deg == Approx(position.latitude_deg).margin(1e-11));
        CHECK(back.height_m == Approx(position.height_m).margin(1e-6));
        // At a pole every longitude is the same place.
        const double parallel_m = std::hypot(ecef_m.x(), ecef_m.y());
        CHECK(angle_between_deg(back.longitude_deg, position.longitude_deg) * parallel_m / 57.3 < 1e-6);
        ++count;
    }
    CHECK(count == 18);
}

TEST_CASE("East, north and up agree with the reference in both directions") {
    std::size_t count = 0;
    for (const auto& row : geodesy()["enu"]) {
        INFO(row["id"]);
        const LocalFrame frame({row["lat0_deg"], row["lon0_deg"], row["h0_m"]});
        const GeodeticPosition position{row["lat_deg"], row["lon_deg"], row["h_m"]};
        const Eigen::Vector3d enu_m = frame.to_enu_m(position);
        const Eigen::Vector3d expected_m(row["east_m"].get<double>(), row["north_m"].get<double>(),
                                         row["up_m"].get<double>());
        CHECK((enu_m - expected_m).norm() < 1e-6);
        const GeodeticPosition back = frame.to_geodetic(enu_m);
        CHECK((to_ecef_m(back) - to_ecef_m(position)).norm() < 1e-6);
        ++count;
    }
    CHECK(count == 54);
}

TEST_CASE("Geodesic distance and azimuth agree with the reference") {
    std::size_t count = 0;
    for (const auto& row : geodesy()["geodesic_inverse"]) {
        INFO(row["id"]);
        const Geodesic found = geodesic({row["lat1_deg"], row["lon1_deg"], 0}, {row["lat2_deg"], row["lon2_deg"], 0});
        const double distance_m = row["distance_m"];
        CHECK(found.distance_m == Approx(distance_m).margin(distance_m < 20e3 ? 1e-6 : 1e-5));
        CHECK(found.azimuth_deg >= 0.0);
        CHECK(found.azimuth_deg < 360.0);
        if (distance_m > 0)
            CHECK(angle_between_deg(found.azimuth_deg, row["azi1_0_360_deg"]) < (distance_m > 1000 ? 1e-9 : 1e-4));
        ++count;
    }
    CHECK(count == 34);
    // The direct problem's cases, walked back.
    for (const auto& row : geodesy()["geodesic_direct"]) {
        INFO(row["id"]);
        const Geodesic found = geodesic({row["lat1_deg"], row["lon1_deg"], 0}, {row["lat2_deg"], row["lon2_deg"], 0});
        const double distance_m = row["distance_m"];
        CHECK(found.distance_m == Approx(distance_m).margin(1e-5)); // the file gives degrees to 1e-14 .. 1e-11
        CHECK(angle_between_deg(found.azimuth_deg, row["azi1_deg"]) < (distance_m > 1000 ? 1e-8 : 1e-4));
        ++count;
    }
    CHECK(count == 44);
}

TEST_CASE("Normal gravity agrees with the closed form on the ellipsoid and with the exact field above it") {
    std::size_t count = 0;
    for (const char* table : {"gravity_surface", "gravity_height"}) {
        for (const auto& row : geodesy()[table]) {
            INFO(row["id"]);
            CHECK(normal_gravity_mps2(row["lat_deg"], row["h_m"]) ==
                  Approx(row["gravity_mps2"].get<double>()).margin(1e-9));
            ++count;
        }
    }
    CHECK(count == 47);
}

TEST_CASE("A position that is not a number stays one and throws nothing") {
    const double nan = std::nan("");
    const LocalFrame frame({40.0, -117.0, 1000.0});
    CHECK(frame.to_enu_m({nan, -117.0, 1000.0}).array().isNaN().all());
    CHECK(frame.to_enu_m({40.0, -117.0, nan}).array().isNaN().all());
    CHECK(std::isnan(frame.to_geodetic({nan, 0, 0}).latitude_deg));
    CHECK(std::isnan(frame.to_geodetic({0, 0, nan}).height_m));
    CHECK(std::isnan(geodesic({nan, 0, 0}, {1, 1, 0}).distance_m));
}

TEST_CASE("a position in text is latitude and longitude in degrees, on the Earth") {
    const auto position = position_in("-47.2525,68.4975");
    REQUIRE(position);
    CHECK(position->latitude_deg == -47.2525);
    CHECK(position->longitude_deg == 68.4975);
    CHECK(position->height_m == 0);
    for (const char* wrong : {"", "47", "47,", ",8", "47,8,400", "91,0", "0,-180.5", "nan,0", "47;8", "47, 8", "x,y"}) {
        INFO(wrong);
        CHECK_FALSE(position_in(wrong));
    }
}
