// Vehicles that have less than a rocket's whole set, or it in other packets: from link octets to what viewers see.
#include <catch2/catch.hpp>

#include <bit>
#include <cmath>

#include "shared/geodesy.hpp"
#include "tests/pipeline/station.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

struct PacketOf {
    unsigned apid;
    int period_ms;
    std::vector<std::pair<std::string, std::string>> fields; ///< role, with _2 where it is the second of it; unit
};

PipelineSetup vehicle_with(const std::vector<PacketOf>& packets, const std::string& vehicle_json) {
    PipelineSetup setup = make_setup(1, {{"radio", "udp://127.0.0.1:1", 0}});
    std::string text;
    for (const PacketOf& packet : packets) {
        std::string fields;
        for (const auto& [name, unit] : packet.fields) {
            const bool second = name.ends_with("_2");
            const std::string role = second ? name.substr(0, name.size() - 2) : name;
            fields += (fields.empty() ? "" : ",") + std::string(R"({"name":")") + name + R"(","type":"f64","unit":")" +
                      unit + R"(","role":")" + role + (second ? R"(","valid_range":[-1960,1960]})" : R"("})");
        }
        text += (text.empty() ? "" : ",") + std::string(R"({"apid":)") + std::to_string(packet.apid) + R"(,"name":"p)" +
                std::to_string(packet.apid) + R"(","period_ms":)" + std::to_string(packet.period_ms) +
                R"(,"fields":[)" + fields + "]}";
    }
    std::vector<Problem> problems;
    const auto dictionary =
        parse_json_text(R"({"vehicle":"alpha","version":"1","time":{"format":"u32_ms"},"packets":[)" + text + "]}",
                        "dictionary", problems);
    setup.vehicles[0].dictionary = read_dictionary(dictionary.value(), "dictionary", problems);
    setup.vehicles[0].vehicle =
        read_vehicle(parse_json_text(vehicle_json, "vehicle", problems).value(), "vehicle", problems);
    INFO(to_string(problems));
    REQUIRE(problems.empty());
    return setup;
}

constexpr const char* kRocketJson =
    R"({"name":"alpha","rocket":{"mass_dry_kg":1,"mass_propellant_kg":0.1,"thrust":[[0,50],[2,0]],
        "body_diameter_m":0.05,"reference_area_m2":0.002,"drag_coefficient":[[0,0.5]],"rail_length_m":1}})";

Bytes doubles(const std::vector<double>& values) {
    Bytes out;
    for (const double value : values) put(out, std::bit_cast<std::uint64_t>(value), 8);
    return out;
}

std::vector<double> column_of(const Pipeline& pipeline, const Batch& batch, const std::string& name,
                              const std::string& column) {
    std::vector<double> out;
    for (const RowRecord& row : batch.rows) {
        const Table& table = pipeline.schema().tables[row.table];
        if (table.name != "alpha/estimate/" + name) continue;
        for (std::size_t c = 0; c < table.number_count; ++c)
            if (table.columns[c].name == column) out.push_back(batch.numbers_of(row, table)[c]);
    }
    return out;
}

double newest_of(const Pipeline& pipeline, const Batch& batch, const std::string& name, const std::string& column) {
    const auto values = column_of(pipeline, batch, name, column);
    return values.empty() ? std::nan("") : values.back();
}

const std::vector<std::pair<std::string, std::string>> kAccel = {
    {"accel_body_x", "m/s2"}, {"accel_body_y", "m/s2"}, {"accel_body_z", "m/s2"}};
const std::vector<std::pair<std::string, std::string>> kRates = {
    {"rate_body_x", "rad/s"}, {"rate_body_y", "rad/s"}, {"rate_body_z", "rad/s"}};
const std::vector<std::pair<std::string, std::string>> kPosition = {
    {"latitude", "deg"}, {"longitude", "deg"}, {"height_ellipsoid", "m"}};

} // namespace

TEST_CASE("inertial triads in separate packets give an attitude") {
    const PipelineSetup setup =
        vehicle_with({{100, 20, kAccel}, {101, 20, kRates}, {102, 200, kPosition}}, kRocketJson);
    Pipeline pipeline(setup, kStart_ns);
    pipeline.set_prediction_period(1e9);
    Batch out;
    const GeodeticPosition pad = setup.site.pad;
    for (unsigned k = 0; k < 500; ++k) {
        const std::int64_t t_ns = kStart_ns + k * 20 * kNsPerMs;
        const std::uint32_t ms = 1000 + 20 * k;
        const double wiggle = k % 2 == 0 ? 0.01 : -0.01;
        pipeline.chunk(0, t_ns + kNsPerMs, 0, frame(101, k, ms, doubles({wiggle * 0.1, 0, 0})), out);
        pipeline.chunk(0, t_ns + 3 * kNsPerMs, 0, frame(100, k, ms, doubles({9.8 + wiggle, wiggle, 0})), out);
        if (k % 10 == 0)
            pipeline.chunk(0, t_ns + 5 * kNsPerMs, 0,
                           frame(102, k / 10, ms, doubles({pad.latitude_deg, pad.longitude_deg, pad.height_m})), out);
    }
    CHECK(newest_of(pipeline, out, "navigation", "tilt_deg") == Approx(0).margin(3));
    CHECK(newest_of(pipeline, out, "navigation", "mode") == 1); // at rest
}

TEST_CASE("of two accelerometers in one packet the one that is not at its range is used") {
    auto fields = kAccel;
    for (const auto& [name, unit] : kAccel) fields.push_back({name + "_2", unit});
    const PipelineSetup setup = vehicle_with({{100, 20, fields}, {101, 40, {{"static_pressure", "Pa"}}}}, kRocketJson);
    Pipeline pipeline(setup, kStart_ns);
    pipeline.set_prediction_period(1e9);
    Batch out;
    for (unsigned k = 0; k < 600; ++k) {
        const std::int64_t t_ns = kStart_ns + k * 20 * kNsPerMs;
        const double t_s = 0.02 * k - 10, true_mps2 = t_s > 0 && t_s < 1 ? 250.0 : t_s >= 1 ? -10.0 : 9.8;
        const double wiggle = k % 2 == 0 ? 0.02 : -0.02;
        pipeline.chunk(0, t_ns, 0,
                       frame(100, k, 1000 + 20 * k,
                             doubles({std::min(true_mps2, 157.0) + wiggle, wiggle, 0, true_mps2 - wiggle, 0, wiggle})),
                       out);
        if (k % 2 == 0)
            pipeline.chunk(0, t_ns, 0, frame(101, k / 2, 1000 + 20 * k, doubles({88000.0 + (k % 4 == 0 ? 1 : -1)})),
                           out);
    }
    double most_mps2 = 0; // the barometer says that it stood still, so that the liftoff is withdrawn in the end
    for (const double force_mps2 : column_of(pipeline, out, "derived", "force_max_mps2"))
        if (force_mps2 > most_mps2) most_mps2 = force_mps2;
    CHECK(most_mps2 == Approx(250).margin(2));
}

TEST_CASE("a balloon's receiver gives position, altitude above sea level, vertical speed and look angles") {
    std::vector<std::pair<std::string, std::string>> fields = {
        {"latitude", "deg"}, {"longitude", "deg"}, {"height_msl", "m"}, {"fix_utc_time_of_day", "s"}};
    PipelineSetup setup = vehicle_with({{100, 1000, fields}}, R"({"name":"alpha"})");
    setup.site.geoid_height_m = -25;
    Pipeline pipeline(setup, kStart_ns);
    Batch out;
    const LocalFrame pad(setup.site.pad);
    const double day_s = 86400, gnss_s = seconds_between(0, kStart_ns) - 2.5; // this computer is ahead
    for (unsigned k = 0; k < 120; ++k) {
        const GeodeticPosition at = pad.to_geodetic({3.0 * k, -2.0 * k, 5.0 * k});
        pipeline.chunk(
            0, kStart_ns + (1000 * static_cast<std::int64_t>(k) + 120) * kNsPerMs,
            kStart_ns + (1000 * static_cast<std::int64_t>(k) + 120) * kNsPerMs,
            frame(100, k, 5000 + 1000 * k,
                  doubles({at.latitude_deg, at.longitude_deg, at.height_m + 25, std::fmod(gnss_s + k, day_s)})),
            out);
    }
    pipeline.advance(kStart_ns + 120 * kNsPerS, out);
    CHECK(newest_of(pipeline, out, "vertical", "vertical_speed_mps") == Approx(5).margin(0.5));
    CHECK(newest_of(pipeline, out, "navigation", "altitude_msl_m") == Approx(1200 + 25 + 5 * 119.5).margin(10));
    CHECK(newest_of(pipeline, out, "navigation", "east_m") == Approx(3 * 119.5).margin(5));
    CHECK(newest_of(pipeline, out, "look_angles", "slant_range_m") > 600);
    CHECK(column_of(pipeline, out, "phase", "phase").empty());
    // The file's delay from fix to packet is 0.1 s, as it is here but for 20 ms.
    CHECK(newest_of(pipeline, out, "clock", "gnss_ahead_s") == Approx(2.5).margin(0.05));
    int told = 0;
    for (const Event& event : out.events)
        if (event.id == EventId::station_clock_off) {
            ++told;
            CHECK(event.text == "This computer's clock is 2.5 s ahead of GNSS time");
        }
    CHECK(told == 1);
}
