// Source: WGS 84 (NIMA TR8350.2) by GeographicLib 2.1.2's CartConvert, by way of tests/reference/geodesy.json.
#include <array>
#include <bit>
#include <cmath>

#include <catch2/catch.hpp>

#include "server/pipeline/vehicle/earth_centred.hpp"
#include "tests/pipeline/station.hpp"
#include "tests/support/reference.hpp"
#include "tests/support/tree.hpp"

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
    setup.vehicles[0].vehicle = read_vehicle(read_json(demo_path("sanderling/vehicle.json")), "vehicle.json", problems);
    INFO(to_string(problems));
    REQUIRE(problems.empty());
    return setup;
}

/// Straight up from the pad after fifteen seconds, two of them under thrust of 60 m/s2 net.
struct Motion {
    explicit Motion(unsigned k) {
        const double t_s = k < 300 ? 0 : 0.05 * (k - 300);
        const double coasting_s = std::max(t_s - 2, 0.0);
        const double thrust_s = std::min(t_s, 2.0);
        accel_mps2 = k < 300 ? 9.8 : coasting_s > 0 ? 0.0 : 69.8;
        up_mps = 60 * thrust_s - 9.8 * coasting_s;
        up_m = 30 * thrust_s * thrust_s + 120 * coasting_s - 4.9 * coasting_s * coasting_s;
    }
    double accel_mps2, up_mps, up_m;
};

/// Where navigation takes the vehicle to be in twenty seconds; `figures` gives what the receiver says of a position and
/// a velocity in local axes.
template <class Figures>
std::vector<double> positions_of(const PipelineSetup& setup, Figures figures) {
    Pipeline pipeline(setup, kStart_ns);
    pipeline.fly_one_prediction_in(0);
    Batch batch;
    const LocalFrame pad(setup.site.pad);
    for (unsigned k = 0; k < 400; ++k) {
        const Motion motion(k);
        Bytes data;
        for (const double value : figures(pad.to_geodetic({0.05 * motion.up_m, 0, motion.up_m}),
                                          Eigen::Vector3d(0.05 * motion.up_mps, 0, motion.up_mps)))
            put_double(data, value);
        for (const double value : {motion.accel_mps2, 0.0, 0.0, 0.0, 0.0, 0.0}) put_double(data, value);
        const std::int64_t t_ns = kStart_ns + k * 50 * kNsPerMs;
        pipeline.chunk(0, t_ns, t_ns, frame(100, k, 1000 + 50 * k, data), batch);
    }
    std::vector<double> numbers;
    for (const RowRecord& row : batch.rows) {
        const Table& table = pipeline.schema().tables[row.table];
        if (table.name != "alpha/estimate/navigation") continue;
        for (std::size_t c = 0; c < table.number_count; ++c)
            if (table.columns[c].name == "east_m" || table.columns[c].name == "north_m" ||
                table.columns[c].name == "up_m")
                numbers.push_back(batch.numbers_of(row, table)[c]);
    }
    return numbers;
}

/// The farthest that the two are apart in the rows that both have: the first ones need fixes.
double apart_m(const std::vector<double>& a, const std::vector<double>& b) {
    double most_m = 0;
    for (std::size_t i = 1; i <= std::min(a.size(), b.size()); ++i) {
        const double one_m = a[a.size() - i], other_m = b[b.size() - i];
        if (!(std::isnan(one_m) && std::isnan(other_m))) most_m = std::max(most_m, std::abs(one_m - other_m));
    }
    return most_m;
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
    const PipelineSetup geodetic = receiver({{"latitude", "deg"},
                                             {"longitude", "deg"},
                                             {"height_ellipsoid", "m"},
                                             {"velocity_east", "m/s"},
                                             {"velocity_north", "m/s"},
                                             {"velocity_up", "m/s"}});
    const auto by_geodetic = positions_of(geodetic, [](const GeodeticPosition& at, const Eigen::Vector3d& enu_mps) {
        return Figures{at.latitude_deg, at.longitude_deg, at.height_m, enu_mps.x(), enu_mps.y(), enu_mps.z()};
    });
    const PipelineSetup centred = receiver({{"position_ecef_x", "m"},
                                            {"position_ecef_y", "m"},
                                            {"position_ecef_z", "m"},
                                            {"velocity_ecef_x", "m/s"},
                                            {"velocity_ecef_y", "m/s"},
                                            {"velocity_ecef_z", "m/s"}});
    const auto by_centred = positions_of(
        centred,
        [](const GeodeticPosition& at, const Eigen::Vector3d& enu_mps) {
            const Eigen::Vector3d position_m = to_ecef_m(at);
            // East, north and up as vectors, from where each leads to.
            Eigen::Vector3d velocity_mps = Eigen::Vector3d::Zero();
            const LocalFrame frame(at);
            for (int axis = 0; axis < 3; ++axis)
                velocity_mps +=
                    enu_mps[axis] * (to_ecef_m(frame.to_geodetic(Eigen::Vector3d::Unit(axis))) - position_m);
            return Figures{position_m.x(),   position_m.y(),   position_m.z(),
                           velocity_mps.x(), velocity_mps.y(), velocity_mps.z()};
        });
    const auto without =
        positions_of(centred, [](const GeodeticPosition&, const Eigen::Vector3d&) { return Figures{}; });
    REQUIRE(by_geodetic.size() > 300);
    REQUIRE(by_geodetic.size() == by_centred.size());
    REQUIRE(without.size() > 300);
    // Nothing tells the heading on the rail, so that rounding decides which is tried first.
    CHECK(apart_m(by_geodetic, by_centred) < 0.5);
    CHECK(apart_m(by_geodetic, without) > 2);
}
