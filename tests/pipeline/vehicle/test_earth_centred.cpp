// Source: WGS 84 (NIMA TR8350.2) by GeographicLib 2.1.2's CartConvert, by way of tests/reference/geodesy.json.
#include <array>
#include <bit>
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

/// A vehicle whose packet holds a GNSS receiver's six figures, with these roles and units, and inertial samples.
PipelineSetup receiver(std::vector<std::pair<std::string, std::string>> roles) {
    for (const char* axis : {"x", "y", "z"}) roles.emplace_back(std::string("accel_body_") + axis, "m/s2");
    for (const char* axis : {"x", "y", "z"}) roles.emplace_back(std::string("rate_body_") + axis, "rad/s");
    nlohmann::json fields = nlohmann::json::array();
    for (const auto& [role, unit] : roles)
        fields.push_back({{"name", role}, {"type", "f64"}, {"unit", unit}, {"role", role}});
    PipelineSetup setup = make_setup(1, {{"radio", "udp://127.0.0.1:1", 0}});
    std::vector<Problem> problems;
    setup.vehicles[0].dictionary =
        read_dictionary({{"vehicle", "alpha"},
                         {"version", "1"},
                         {"time", {{"format", "u32_ms"}}},
                         {"packets", {{{"apid", 100}, {"name", "fix"}, {"period_ms", 50}, {"fields", fields}}}}},
                        "dictionary.json", problems);
    INFO(to_string(problems));
    REQUIRE(problems.empty());
    return setup;
}

/// Twenty seconds at rest, 30 m east of the pad; `figures` gives what the receiver says.
template <class Figures>
std::vector<double> estimates_of(const PipelineSetup& setup, Figures figures) {
    Pipeline pipeline(setup, kStart_ns);
    Batch batch;
    const GeodeticPosition position = LocalFrame(setup.site.pad).to_geodetic({30, 0, 0});
    for (unsigned k = 0; k < 400; ++k) {
        Bytes data;
        for (const double value : figures(position)) put_double(data, value);
        for (const double value : {9.8, 0.0, 0.0, 0.0, 0.0, 0.0}) put_double(data, value);
        const std::int64_t t_ns = kStart_ns + k * 50 * kNsPerMs;
        pipeline.chunk(0, t_ns, t_ns, frame(100, k, 1000 + 50 * k, data), batch);
    }
    std::vector<double> numbers;
    for (const RowRecord& row : batch.rows) {
        const Table& table = pipeline.schema().tables[row.table];
        if (table.kind != TableKind::estimate) continue;
        for (const double number : batch.numbers_of(row, table)) numbers.push_back(number);
    }
    return numbers;
}

/// How many numbers the two have in common, and in how many they differ.
std::pair<int, int> compare(const std::vector<double>& a, const std::vector<double>& b) {
    REQUIRE(a.size() == b.size());
    int same = 0;
    int different = 0;
    for (std::size_t i = 0; i < a.size(); ++i) {
        if (std::isnan(a[i]) && std::isnan(b[i])) continue;
        ++(b[i] == Approx(a[i]).epsilon(1e-5).margin(1e-4) ? same : different);
    }
    return {same, different};
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
    using Figures = std::array<double, 6>;
    const Eigen::Vector3d velocity_enu_mps(0.2, -0.1, 0.05);
    const auto by_geodetic =
        estimates_of(receiver({{"latitude", "deg"},
                               {"longitude", "deg"},
                               {"height_ellipsoid", "m"},
                               {"velocity_east", "m/s"},
                               {"velocity_north", "m/s"},
                               {"velocity_up", "m/s"}}),
                     [&](const GeodeticPosition& at) {
                         return Figures{at.latitude_deg,      at.longitude_deg,     at.height_m,
                                        velocity_enu_mps.x(), velocity_enu_mps.y(), velocity_enu_mps.z()};
                     });
    const PipelineSetup centred = receiver({{"position_ecef_x", "m"},
                                            {"position_ecef_y", "m"},
                                            {"position_ecef_z", "m"},
                                            {"velocity_ecef_x", "m/s"},
                                            {"velocity_ecef_y", "m/s"},
                                            {"velocity_ecef_z", "m/s"}});
    const auto by_centred = estimates_of(
        centred,
        [&](const GeodeticPosition& at) {
            const Eigen::Vector3d position_m = to_ecef_m(at);
            // East, north and up as vectors, from where each leads to.
            Eigen::Vector3d velocity_mps = Eigen::Vector3d::Zero();
            const LocalFrame frame(at);
            for (int axis = 0; axis < 3; ++axis)
                velocity_mps +=
                    velocity_enu_mps[axis] * (to_ecef_m(frame.to_geodetic(Eigen::Vector3d::Unit(axis))) - position_m);
            return Figures{position_m.x(),   position_m.y(),   position_m.z(),
                           velocity_mps.x(), velocity_mps.y(), velocity_mps.z()};
        });
    const auto without = estimates_of(centred, [](const GeodeticPosition&) { return Figures{}; });
    const auto [same, different] = compare(by_geodetic, by_centred);
    CHECK(same > 1000);
    CHECK(different == 0);
    CHECK(compare(by_geodetic, without).second > 100);
}
