// Real recordings of motion (tests/reference/data/SOURCES.md) through the whole station: packets from the generated
// firmware header, frames, clock, estimators, rows. Most fixes are held back, to compare with.
#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <functional>
#include <map>
#include <vector>

#include "shared/atmosphere.hpp"
#include "shared/geodesy.hpp"
#include "tests/pipeline/station.hpp"
#include "tests/support/reference.hpp"
#include "tests/support/tree.hpp"

#include "carried_telemetry.h" // generated from tests/pipeline/vehicle/carried.json

using namespace turnstone;
using namespace turnstone::test;
using Eigen::Vector3d;

namespace {

constexpr double kLinkDelay_s = 0.01;
constexpr double kSwitchedOn_s = 5; ///< before the recording begins

struct RealFix {
    double t_s;
    GeodeticPosition at; ///< height above mean sea level
    Vector3d velocity_mps;
    double horizontal_m, vertical_m, speed_mps;
};

/// A vehicle that sends what a recording holds, and the station that hears it.
class Carrier {
  public:
    Carrier(const GeodeticPosition& pad, const std::string& vehicle_json) {
        std::vector<Problem> problems;
        VehicleSetup vehicle;
        vehicle.dictionary_json = read_file(source_path("tests/pipeline/vehicle/carried.json"));
        vehicle.dictionary = read_dictionary(*parse_json_text(vehicle.dictionary_json, "carried.json", problems),
                                             "carried.json", problems);
        vehicle.vehicle =
            read_vehicle(*parse_json_text(vehicle_json, "vehicle.json", problems), "vehicle.json", problems);
        if (!problems.empty()) throw std::runtime_error(to_string(problems));
        setup_.vehicles.push_back(std::move(vehicle));
        setup_.site.name = "Somewhere";
        setup_.site.pad = setup_.site.station = pad;
        setup_.links = {{"radio", "test:", 0}};
    }

    void inertial(double t_s, const Vector3d& accel_mps2, const Vector3d& rate_radps) {
        carried_inertial packet{};
        packet.accel_body_x = static_cast<float>(accel_mps2.x());
        packet.accel_body_y = static_cast<float>(accel_mps2.y());
        packet.accel_body_z = static_cast<float>(accel_mps2.z());
        packet.rate_body_x = static_cast<float>(rate_radps.x());
        packet.rate_body_y = static_cast<float>(rate_radps.y());
        packet.rate_body_z = static_cast<float>(rate_radps.z());
        send(t_s, CARRIED_INERTIAL_APID, [&](auto... place) { return carried_encode_inertial(place..., &packet); });
    }
    void pressure(double t_s, double pressure_pa) {
        carried_pressure packet{};
        packet.static_pressure = static_cast<float>(pressure_pa);
        send(t_s, CARRIED_PRESSURE_APID, [&](auto... place) { return carried_encode_pressure(place..., &packet); });
    }
    void fix(const RealFix& fix) {
        carried_fix packet{};
        packet.latitude = fix.at.latitude_deg;
        packet.longitude = fix.at.longitude_deg;
        packet.height_msl = static_cast<float>(fix.at.height_m);
        packet.velocity_east = static_cast<float>(fix.velocity_mps.x());
        packet.velocity_north = static_cast<float>(fix.velocity_mps.y());
        packet.velocity_up = static_cast<float>(fix.velocity_mps.z());
        packet.accuracy_horizontal = static_cast<float>(fix.horizontal_m);
        packet.accuracy_vertical = static_cast<float>(fix.vertical_m);
        packet.accuracy_speed = static_cast<float>(fix.speed_mps);
        send(fix.t_s, CARRIED_FIX_APID, [&](auto... place) { return carried_encode_fix(place..., &packet); });
    }

    /// Everything that was sent, in its order of time, through a pipeline.
    void run() {
        std::stable_sort(sent_.begin(), sent_.end(), [](const auto& a, const auto& b) { return a.t_s < b.t_s; });
        Pipeline pipeline(setup_, kStart_ns);
        pipeline.set_prediction_period(1e9);
        schema_ = pipeline.schema();
        for (const Frame& frame : sent_) {
            const std::int64_t t_ns = kStart_ns + seconds_to_ns(frame.t_s + kLinkDelay_s);
            pipeline.chunk(0, t_ns, t_ns, frame.bytes, batch_);
        }
        pipeline.advance(kStart_ns + seconds_to_ns(sent_.back().t_s + 2), batch_);
    }

    /// Of the newest row not after `t_s`; NaN without one.
    [[nodiscard]] double at(double t_s, const std::string& estimate, const std::string& column) {
        const Table& table = table_named(schema_, "carried/estimate/" + estimate);
        const auto named = std::ranges::find(table.columns, column, &Column::name);
        REQUIRE(named != table.columns.end());
        auto& rows = rows_[table.id];
        if (rows.empty())
            for (const RowRecord& row : batch_.rows)
                if (row.table == table.id) rows.push_back(&row);
        const std::int64_t t_ns = kStart_ns + seconds_to_ns(t_s + kLinkDelay_s);
        const auto after = std::ranges::upper_bound(rows, t_ns, {}, &RowRecord::t_ns);
        if (after == rows.begin()) return kNaN;
        return batch_.numbers_of(**(after - 1), table)[static_cast<std::size_t>(named - table.columns.begin())];
    }
    [[nodiscard]] bool happened(EventId id) const {
        return std::ranges::count(batch_.events, std::optional(id), &Event::id) > 0;
    }

  private:
    struct Frame {
        double t_s;
        Bytes bytes;
    };
    void send(double t_s, unsigned apid, const auto& encode) {
        Bytes bytes(256);
        const auto count = static_cast<std::uint16_t>(counts_[apid]++ & 0x3FFFU);
        const auto time_ms = static_cast<std::uint32_t>(std::lround(1e3 * (t_s + kSwitchedOn_s)));
        bytes.resize(encode(reinterpret_cast<std::uint8_t*>(bytes.data()), bytes.size(), count, time_ms));
        REQUIRE_FALSE(bytes.empty());
        sent_.push_back({t_s, std::move(bytes)});
    }

    PipelineSetup setup_;
    Schema schema_;
    std::map<unsigned, unsigned> counts_;
    std::vector<Frame> sent_;
    Batch batch_;
    std::map<TableId, std::vector<const RowRecord*>> rows_;
};

/// Squares of errors, plain and in units of their 1-sigma.
struct Squares {
    double plain = 0, normalised = 0;
    int count = 0;
    void add(double error, double sigma) {
        if (!std::isfinite(error)) return;
        plain += error * error;
        normalised += error * error / (sigma * sigma);
        ++count;
    }
    [[nodiscard]] double rms() const { return std::sqrt(plain / count); }
    [[nodiscard]] double ratio() const { return normalised / count; }
};

constexpr const char* kRocket =
    R"("rocket": {"mass_dry_kg": 1, "mass_propellant_kg": 0.1, "thrust": [[0, 50], [2, 0]], "body_diameter_m": 0.05,
        "reference_area_m2": 0.002, "drag_coefficient": [[0, 0.5]], "rail_length_m": 1})";

std::string vehicle_json(bool rocket, const std::string& sensors) {
    return R"({"name": "carried", )" + (rocket ? kRocket + std::string(", ") : "") + R"("sensors": {)" + sensors + "}}";
}

} // namespace

TEST_CASE("A phone in a hand and in a car is followed between the fixes that are sent") {
    constexpr int kOneIn = 3;
    enum Column { kSpeedAccuracy = 2, kVertical, kHorizontal, kSpeed, kBearing, kAltitude, kLongitude, kLatitude };
    enum Sensor { kAccZ = 17, kAccY, kAccX, kGyroZ, kGyroY, kGyroX, kRelative = 26, kPressure };
    const auto rows = reference_rows("data/phone_imu_baro_gnss.csv"); // one a second
    REQUIRE(rows.size() == 587);
    std::vector<RealFix> fixes;
    for (std::size_t k = 0; k < rows.size(); ++k) {
        const auto& row = rows[k];
        if (!std::isfinite(row[kLatitude])) continue;
        const double bearing = row[kBearing] * M_PI / 180;
        fixes.push_back({static_cast<double>(k),
                         {row[kLatitude], row[kLongitude], row[kAltitude]},
                         {row[kSpeed] * std::sin(bearing), row[kSpeed] * std::cos(bearing), kNaN},
                         row[kHorizontal],
                         row[kVertical],
                         row[kSpeedAccuracy]});
    }
    for (const bool rocket : {false, true}) {
        // Times of this recording are whole seconds.
        Carrier carrier(fixes[0].at, vehicle_json(rocket, R"("fix_delay_s": 0.3, "fix_delay_sigma_s": 0.3,
            "pressure_noise_pa": 3, "fix_horizontal_m": 4, "fix_vertical_m": 6, "fix_speed_mps": 1)"));
        for (std::size_t k = 0; k < rows.size(); ++k) {
            const auto& row = rows[k];
            const auto t_s = static_cast<double>(k);
            carrier.inertial(t_s, {row[kAccX], row[kAccY], row[kAccZ]}, {row[kGyroX], row[kGyroY], row[kGyroZ]});
            carrier.pressure(t_s, 100 * row[kPressure]);
        }
        for (std::size_t k = 0; k < fixes.size(); k += kOneIn) carrier.fix(fixes[k]);
        carrier.run();
        const LocalFrame pad(fixes[0].at);
        Squares across, altitude;
        int answered = 0, asked = 0;
        for (std::size_t k = 1; k < fixes.size(); ++k) {
            const RealFix& fix = fixes[k];
            if (k % kOneIn == 0 || fix.t_s < 20) continue;
            const Vector3d there = pad.to_enu_m(fix.at);
            const double east_m = carrier.at(fix.t_s, "navigation", "east_m");
            ++asked;
            answered += std::isfinite(east_m);
            for (const auto& [column, true_m] : {std::pair{"east_m", there.x()}, {"north_m", there.y()}})
                across.add(
                    carrier.at(fix.t_s, "navigation", column) - true_m,
                    std::hypot(carrier.at(fix.t_s, "navigation", std::string(column) + "_sigma"), fix.horizontal_m));
        }
        // The phone's own counts from another moment: the two differ by a constant.
        const auto differs_m = [&](std::size_t k) {
            return carrier.at(static_cast<double>(k), "vertical", "altitude_m") - rows[k][kRelative];
        };
        double constant_m = 0;
        for (std::size_t k = 60; k < rows.size(); ++k)
            constant_m += differs_m(k) / static_cast<double>(rows.size() - 60);
        for (std::size_t k = 60; k < rows.size(); ++k)
            altitude.add(differs_m(k) - constant_m, carrier.at(static_cast<double>(k), "vertical", "altitude_m_sigma"));
        INFO((rocket ? "as a rocket" : "as it is")
             << ": held-back fixes " << across.rms() << " m (" << across.ratio() << "), " << answered << " of " << asked
             << " answered; altitude " << altitude.rms() << " m (" << altitude.ratio() << ")");
        CHECK(answered >= 0.99 * asked);
        // With a rocket's file attitude at rest holds the place until a fix is sure that it has left it: some of these
        // are good to a kilometre only.
        CHECK(across.ratio() < (rocket ? 10 : 2));
        // A rocket's height counts from the rail, whose pressure is followed until it is seen to leave: fixes this far
        // apart do not show that.
        if (!rocket) {
            CHECK(altitude.rms() < 1.5);
            CHECK(altitude.ratio() < 2);
        }
        CHECK_FALSE(carrier.happened(EventId::liftoff));
    }
}

TEST_CASE("A quadrotor's zig-zag is followed from fixes and heights once a second") {
    constexpr std::size_t kOneIn = 10;
    const auto imu = reference_rows("data/quadrotor_vertical/IMU_1.csv");
    const auto truth = reference_rows("data/quadrotor_vertical/GT.csv"); // ten a second; north, east, down from 7 on
    REQUIRE(truth.size() == 326);
    const GeodeticPosition pad{45, 10, 100};
    const LocalFrame frame(pad);
    const auto place = [&](std::size_t k) { return Vector3d(truth[k][8], truth[k][7], truth[k][6] - truth[0][6]); };
    for (const bool rocket : {false, true}) {
        Carrier carrier(pad, vehicle_json(rocket, R"("accel_noise_mps2": 2, "accel_bias_mps2": 0.5,
            "accel_bias_walk_mps2_rts": 0.02, "gyro_noise_radps": 0.02, "gyro_bias_radps": 0.02,
            "pressure_noise_pa": 1, "pressure_bias_pa": 2, "fix_delay_s": 0, "fix_delay_sigma_s": 0.03,
            "fix_horizontal_m": 0.1, "fix_vertical_m": 0.2, "fix_speed_mps": 0.15, "pad_datum_sigma_m": 1)"));
        // As if it had hovered there before, for the seconds that a reference of pressure takes.
        const auto pressure_at = [&](double height_m) {
            return standard_atmosphere(geopotential_from_geometric_m(pad.height_m + height_m)).pressure_pa;
        };
        constexpr double kHovers_s = 20;
        for (int k = 0; k < 10 * static_cast<int>(kHovers_s); ++k)
            carrier.pressure(0.1 * k, pressure_at(k % 2 == 0 ? 0.02 : -0.02));
        for (const auto& row : imu)
            carrier.inertial(kHovers_s + row[0], {row[6], row[4], row[5]},
                             Vector3d(row[9], row[7], row[8]) * M_PI / 180);
        for (std::size_t k = 1; k + 1 < truth.size(); ++k) {
            if (k % kOneIn != 1) continue;
            const double t_s = kHovers_s + truth[k][0];
            const double span_s = truth[k + 1][0] - truth[k - 1][0];
            const Vector3d velocity_mps = (place(k + 1) - place(k - 1)) / span_s;
            carrier.fix({t_s, frame.to_geodetic(place(k)), velocity_mps, 0.1, 0.2, 0.3});
            carrier.pressure(t_s, pressure_at(place(k).z()));
        }
        carrier.run();
        Squares across, up;
        for (std::size_t k = 50; k + kOneIn < truth.size(); ++k) {
            if (k % kOneIn == 1) continue;
            const double t_s = kHovers_s + truth[k][0];
            const auto at = [&](const char* column) { return carrier.at(t_s, "navigation", column); };
            across.add(at("east_m") - place(k).x(), at("east_m_sigma"));
            across.add(at("north_m") - place(k).y(), at("north_m_sigma"));
            up.add(at("up_m") - place(k).z(), at("up_m_sigma"));
        }
        INFO((rocket ? "as a rocket" : "as it is") << ": east and north " << across.rms() << " m (" << across.ratio()
                                                   << "), up " << up.rms() << " m (" << up.ratio() << ")");
        CHECK(across.count > 400);
        CHECK(across.ratio() < 2);
        CHECK(up.ratio() < 2);
        CHECK(up.rms() < 1.5);
    }
}
