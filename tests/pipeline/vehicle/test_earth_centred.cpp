// Source: WGS 84 (NIMA TR8350.2) by GeographicLib 2.1.2's CartConvert, by way of tests/reference/geodesy.json.
#include <cmath>

#include <catch2/catch.hpp>

#include "server/pipeline/vehicle/earth_centred.hpp"
#include "tests/pipeline/station.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

void put_double(Bytes& out, double value) {
    put(out, std::bit_cast<std::uint64_t>(value), 8);
}

/// A vehicle with nothing but a GNSS receiver, whose six fields are doubles with these roles and units.
PipelineSetup receiver(const std::vector<std::pair<std::string, std::string>>& roles) {
    nlohmann::json fields = nlohmann::json::array();
    for (const auto& [role, unit] : roles)
        fields.push_back({{"name", role}, {"type", "f64"}, {"unit", unit}, {"role", role}});
    PipelineSetup setup = make_setup(1, {{"radio", "udp://127.0.0.1:1", 0}});
    std::vector<Problem> problems;
    setup.vehicles[0].dictionary =
        read_dictionary({{"vehicle", "alpha"},
                         {"version", "1"},
                         {"time", {{"format", "u32_ms"}}},
                         {"packets", {{{"apid", 100}, {"name", "fix"}, {"period_ms", 100}, {"fields", fields}}}}},
                        "dictionary.json", problems);
    INFO(to_string(problems));
    REQUIRE(problems.empty());
    return setup;
}

} // namespace

TEST_CASE("earth-centred positions become geodetic ones, and the earth's centre none") {
    int checked = 0;
    for (const auto& test : read_reference("geodesy.json")["ecef"]) {
        INFO(test["id"]);
        const Eigen::Vector3d ecef_m(test["x_m"].get<double>(), test["y_m"].get<double>(), test["z_m"].get<double>());
        const GeodeticPosition position = geodetic_from_earth_centred(ecef_m);
        CHECK(std::abs(position.latitude_deg - test["lat_deg"].get<double>()) < 1e-9);
        CHECK(std::abs(position.height_m - test["h_m"].get<double>()) < 1e-3);
        if (std::abs(position.latitude_deg) < 89.999999)
            CHECK(std::abs(std::remainder(position.longitude_deg - test["lon_deg"].get<double>(), 360.0)) < 1e-9);
        ++checked;
    }
    CHECK(checked >= 18);
    for (const double value : {0.0, 1.0, 1e6, std::nan("")})
        CHECK(std::isnan(geodetic_from_earth_centred({value, value, value}).latitude_deg));
}

TEST_CASE("vectors in earth-centred axes turn into east, north and up") {
    int checked = 0;
    for (const auto& test : read_reference("geodesy.json")["enu"]) {
        INFO(test["id"]);
        const GeodeticPosition from{test["lat0_deg"], test["lon0_deg"], test["h0_m"]};
        const GeodeticPosition to{test["lat_deg"], test["lon_deg"], test["h_m"]};
        const Eigen::Vector3d enu_m = enu_from_earth_centred(to_ecef_m(to) - to_ecef_m(from), from);
        const Eigen::Vector3d expected_m(test["east_m"].get<double>(), test["north_m"].get<double>(),
                                         test["up_m"].get<double>());
        CHECK((enu_m - expected_m).norm() < 1e-5);
        ++checked;
    }
    CHECK(checked >= 10);
}

TEST_CASE("a receiver that gives only earth-centred axes is worth as much as another") {
    const PipelineSetup geodetic = receiver({{"latitude", "deg"},
                                             {"longitude", "deg"},
                                             {"height_ellipsoid", "m"},
                                             {"velocity_east", "m/s"},
                                             {"velocity_north", "m/s"},
                                             {"velocity_up", "m/s"}});
    const PipelineSetup centred = receiver({{"position_ecef_x", "m"},
                                            {"position_ecef_y", "m"},
                                            {"position_ecef_z", "m"},
                                            {"velocity_ecef_x", "m/s"},
                                            {"velocity_ecef_y", "m/s"},
                                            {"velocity_ecef_z", "m/s"}});
    Pipeline by_geodetic(geodetic, kStart_ns);
    Pipeline by_centred(centred, kStart_ns);
    Batch from_geodetic;
    Batch from_centred;
    const LocalFrame pad(geodetic.site.pad);
    for (unsigned k = 0; k < 100; ++k) {
        const double t_s = 0.1 * k;
        const GeodeticPosition position = pad.to_geodetic({20 * t_s, -5 * t_s, 10 * t_s});
        const Eigen::Vector3d position_m = to_ecef_m(position);
        const Eigen::Vector3d velocity_mps =
            10.0 * (to_ecef_m(pad.to_geodetic({20 * (t_s + 0.05), -5 * (t_s + 0.05), 10 * (t_s + 0.05)})) -
                    to_ecef_m(pad.to_geodetic({20 * (t_s - 0.05), -5 * (t_s - 0.05), 10 * (t_s - 0.05)})));
        const Eigen::Vector3d enu_mps = enu_from_earth_centred(velocity_mps, position);
        Bytes a;
        for (const double value :
             {position.latitude_deg, position.longitude_deg, position.height_m, enu_mps.x(), enu_mps.y(), enu_mps.z()})
            put_double(a, value);
        Bytes b;
        for (const Eigen::Vector3d& vector : {position_m, velocity_mps})
            for (int axis = 0; axis < 3; ++axis) put_double(b, vector[axis]);
        const std::int64_t t_ns = kStart_ns + k * 100 * kNsPerMs;
        by_geodetic.chunk(0, t_ns, t_ns, frame(100, k, 1000 + 100 * k, a), from_geodetic);
        by_centred.chunk(0, t_ns, t_ns, frame(100, k, 1000 + 100 * k, b), from_centred);
    }
    int compared = 0;
    REQUIRE(from_geodetic.rows.size() == from_centred.rows.size());
    for (std::size_t r = 0; r < from_geodetic.rows.size(); ++r) {
        const Table& table = by_geodetic.schema().tables[from_geodetic.rows[r].table];
        if (table.kind != TableKind::estimate) continue;
        const auto x = from_geodetic.numbers_of(from_geodetic.rows[r], table);
        const auto y = from_centred.numbers_of(from_centred.rows[r], table);
        for (std::size_t c = 0; c < x.size(); ++c) {
            INFO(table.name << "/" << table.columns[c].name);
            REQUIRE(std::isnan(x[c]) == std::isnan(y[c]));
            if (!std::isnan(x[c])) REQUIRE(y[c] == Approx(x[c]).epsilon(1e-6).margin(1e-4));
            compared += table.name != "alpha/estimate/clock" && !std::isnan(x[c]) ? 1 : 0;
        }
    }
    CHECK(compared > 100);
}
