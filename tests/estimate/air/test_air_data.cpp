// Air data against tests/reference/atmosphere.json (U.S. Standard Atmosphere 1976 / ISO 2533:1975 rows, hypsometric
// equation as in WMO-No. 8, QNH definition of ICAO Doc 9837; dynamic pressure cases), and against two real days
// (tests/reference/data/SOURCES.md).
#include <cmath>
#include <random>

#include <catch2/catch.hpp>

#include "server/estimate/air/air_data.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using namespace turnstone::test;
using nlohmann::json;

namespace {

const json& atmosphere() {
    return read_reference("atmosphere.json");
}

struct Level {
    double pressure_pa;
    double geopotential_m;
    double temperature_k;
};

struct DayResult {
    double worst_sigmas = 0.0; ///< largest error over its own 1-sigma, from 100 m above the pad up
    double worst_temperature_sigmas = 0.0;
    double worst_fraction = 0.0;    ///< largest error over height, from 500 m to 3 km
    double standard_fraction = 0.0; ///< the same for plain pressure altitude differences
    double squares = 0.0;           ///< of error over 1-sigma, from 500 m to 5 km
    int squared = 0;
    int levels = 0;
};

/// A profile of the day up to `profile_to_m` above the pad; 0: none.
DayResult compare(const std::vector<Level>& levels, double pad_temperature_k, double profile_to_m) {
    PadReference pad;
    pad.pressure_pa = levels.front().pressure_pa;
    pad.pressure_sigma_pa = 5.0;
    pad.temperature_k = pad_temperature_k;
    const double pad_geopotential_m = levels.front().geopotential_m;
    pad.height_msl_m = kEarthRadius_m * pad_geopotential_m / (kEarthRadius_m - pad_geopotential_m); // USSA 1976 eq. 18
    pad.latitude_deg = 36.0;
    if (profile_to_m > 0) {
        std::vector<TemperatureLayer> profile; // a sounding as people copy it: every 250 m or so
        for (const Level& level : levels) {
            const double height_m = level.geopotential_m - pad_geopotential_m;
            if (height_m > profile_to_m) break;
            if (profile.empty() ? height_m > 50.0 : height_m > profile.back().height_m + 250.0)
                profile.push_back({height_m, level.temperature_k});
        }
        pad.profile = std::make_shared<const std::vector<TemperatureLayer>>(profile);
    }
    const DayAtmosphere day(pad);
    DayResult out;
    for (const Level& level : levels) {
        const double true_m = level.geopotential_m - levels.front().geopotential_m;
        const AirHeights air = day.heights(level.pressure_pa, 5.0);
        const double error_m = air.geopotential_above_pad_m - true_m;
        if (true_m > 100.0) out.worst_sigmas = std::max(out.worst_sigmas, std::fabs(error_m) / air.above_pad_sigma_m);
        out.worst_temperature_sigmas = std::max(
            out.worst_temperature_sigmas, std::fabs(air.temperature_k - level.temperature_k) / air.temperature_sigma_k);
        if (true_m > 500.0 && true_m < 5000.0) {
            out.squares += error_m * error_m / (air.above_pad_sigma_m * air.above_pad_sigma_m);
            ++out.squared;
        }
        if (true_m > 500.0 && true_m < 3000.0) {
            out.worst_fraction = std::max(out.worst_fraction, std::fabs(error_m) / true_m);
            const double standard_m = air.pressure_altitude_m - pressure_altitude_m(pad.pressure_pa);
            out.standard_fraction = std::max(out.standard_fraction, std::fabs(standard_m - true_m) / true_m);
        }
        ++out.levels;
    }
    return out;
}

struct Day {
    const char* name;
    std::vector<Level> levels;
};

std::vector<Day> real_days() {
    std::vector<Day> days{{"sounding", {}}, {"balloon", {}}};
    for (const auto& row : reference_rows("data/sounding_oun_2023-05-22_12z.csv")) {
        if (row.size() < 6 || !std::isfinite(row[3]) || !std::isfinite(row[4])) continue;
        days[0].levels.push_back({row[3] * 100.0, row[4], row[5] + 273.15});
    }
    for (const auto& row : reference_rows("data/radiosonde_sgp_2019-01-01.csv"))
        days[1].levels.push_back({row[1] * 100.0, geopotential_from_geometric_m(row[8]), row[2] + 273.15});
    return days;
}

} // namespace

TEST_CASE("one layer follows the hypsometric equation") {
    int checked = 0;
    for (const json& row : atmosphere().at("hypsometric")) {
        INFO(row.at("id").get<std::string>());
        const double p = row.at("p_Pa"), p0 = row.at("pad_p_Pa"), t0 = row.at("pad_T_K");
        CHECK(hypsometric_height_m(p, p0, t0, -0.0065) ==
              Approx(row.at("height_lapse_6p5_m").get<double>()).epsilon(1e-9));
        CHECK(hypsometric_height_m(p, p0, t0, 0.0) ==
              Approx(row.at("height_isothermal_m").get<double>()).epsilon(1e-9));
        ++checked;
    }
    CHECK(checked == 8);
}

TEST_CASE("the first kilometre above the pad has the standard lapse from the pad's temperature") {
    for (const json& row : atmosphere().at("hypsometric")) {
        const double expected_m = row.at("height_lapse_6p5_m");
        const DayAtmosphere day({.pressure_pa = row.at("pad_p_Pa"), .temperature_k = row.at("pad_T_K")});
        const double height_m = day.geopotential_above_pad_m(row.at("p_Pa"));
        INFO(row.at("id").get<std::string>());
        if (expected_m <= 1000.0)
            CHECK(height_m == Approx(expected_m).epsilon(1e-9));
        else
            CHECK(std::fabs(height_m - expected_m) < 0.5 * day.height_sigma_m(height_m));
    }
}

TEST_CASE("a standard day gives the standard atmosphere at every height") {
    const DayAtmosphere day({.pressure_pa = kPressureSeaLevel_pa, .temperature_k = kTemperatureSeaLevel_k});
    int checked = 0;
    for (const json& row : atmosphere().at("rows_geopotential")) {
        const double height_m = row.at("geopotential_m");
        if (height_m < -500.0 || height_m > 47000.0) continue;
        INFO(row.at("id").get<std::string>());
        const AirHeights air = day.heights(row.at("p_Pa"), 5.0);
        CHECK(air.geopotential_above_pad_m == Approx(height_m).margin(0.02));
        CHECK(air.pressure_altitude_m == Approx(height_m).margin(0.02));
        CHECK(air.temperature_k == Approx(row.at("T_K").get<double>()).epsilon(1e-6));
        CHECK(air.density_kg_m3 == Approx(row.at("rho_kgm3").get<double>()).epsilon(1e-5));
        CHECK(air.speed_of_sound_mps == Approx(row.at("a_mps").get<double>()).epsilon(1e-5));
        ++checked;
    }
    CHECK(checked >= 12);
}

TEST_CASE("QNH, Mach and dynamic pressure agree with the reference") {
    for (const json& row : atmosphere().at("qnh")) {
        INFO(row.at("id").get<std::string>());
        // QNH: the sea-level pressure with which an altimeter shows the elevation of a place at pressure QFE (WMO-No.
        // 8).
        const double sea_level_m =
            pressure_altitude_m(row.at("qfe_Pa").get<double>()) - row.at("elevation_m").get<double>();
        CHECK(standard_atmosphere(sea_level_m).pressure_pa == Approx(row.at("qnh_Pa").get<double>()).epsilon(1e-6));
    }
    for (const json& row : atmosphere().at("dynamic_pressure")) {
        INFO(row.at("id").get<std::string>());
        const AirState state = standard_atmosphere(row.at("geopotential_m"));
        AirHeights air{};
        air.density_kg_m3 = state.density_kg_m3;
        air.speed_of_sound_mps = state.speed_of_sound_mps;
        air.temperature_k = state.temperature_k;
        const AirSpeeds speeds = air_speeds(air, row.at("speed_mps"), 1.0);
        CHECK(speeds.mach == Approx(row.at("mach").get<double>()).epsilon(1e-6));
        CHECK(speeds.dynamic_pressure_pa == Approx(row.at("dynamic_pressure_Pa").get<double>()).epsilon(1e-5));
    }
}

TEST_CASE("the sigma of dynamic pressure is that of a speed's square, however small the speed is") {
    AirHeights air{};
    air.density_kg_m3 = 1.2;
    air.speed_of_sound_mps = 340;
    air.temperature_k = 288;
    for (const double speed_mps : {0.0, 2.0, 5.0, 50.0}) {
        constexpr double kSigma_mps = 5;
        std::mt19937_64 random(12);
        std::normal_distribution<double> normal(speed_mps, kSigma_mps);
        const AirSpeeds said = air_speeds(air, speed_mps, kSigma_mps);
        double squares = 0;
        constexpr int kDrawn = 200'000;
        for (int k = 0; k < kDrawn; ++k)
            squares += std::pow(0.5 * air.density_kg_m3 * std::pow(normal(random), 2) - said.dynamic_pressure_pa, 2);
        INFO(speed_mps << " m/s");
        CHECK(said.dynamic_pressure_sigma_pa == Approx(std::sqrt(squares / kDrawn)).epsilon(0.02));
    }
}

TEST_CASE("heights on real days lie within the stated uncertainty") {
    double squares = 0.0;
    int squared = 0;
    for (const Day& day : real_days()) {
        const DayResult result = compare(day.levels, day.levels.front().temperature_k, 0);
        INFO(day.name << ": worst " << result.worst_sigmas << " sigma, " << 100.0 * result.worst_fraction
                      << " % of height below 3 km (standard atmosphere alone " << 100.0 * result.standard_fraction
                      << " %)");
        CHECK(result.levels > 200);
        CHECK(result.worst_sigmas < 2.2);
        CHECK(result.worst_fraction < 0.032);
        CHECK(result.worst_fraction <= result.standard_fraction + 0.002);
        squares += result.squares / result.squared;
        ++squared;
    }
    // The stated sigma is right within a factor of 1.5, from 500 m to 5 km.
    const double ratio = std::sqrt(squares / squared);
    INFO("error over sigma, rms " << ratio);
    CHECK(ratio < 1.5);
    CHECK(ratio > 1.0 / 1.5);
}

TEST_CASE("a sounding in the site file makes heights exact to its own error") {
    for (const Day& day : real_days()) {
        const DayResult result = compare(day.levels, day.levels.front().temperature_k, 1e6);
        INFO(day.name << ": worst " << result.worst_sigmas << " sigma, " << 100.0 * result.worst_fraction << " %");
        CHECK(result.worst_fraction < 0.008); // moisture, which no temperature shows
        CHECK(result.worst_sigmas < 2.0);
    }
}

// One that ends in the cold air of a winter's morning knows less than it says: 15 K, 4.8 sigma on the balloon's day.
TEST_CASE("above the top of a forecast the day is as unknown as above a pad") {
    for (const Day& day : real_days()) {
        for (const double top_m : {1500.0, 2000.0, 3000.0}) {
            const DayResult result = compare(day.levels, day.levels.front().temperature_k, top_m);
            INFO(day.name << " to " << top_m << " m: heights " << result.worst_sigmas << ", temperatures "
                          << result.worst_temperature_sigmas << " sigma at worst");
            CHECK(result.worst_sigmas < 2.2);
            CHECK(result.worst_temperature_sigmas < 3.0);
        }
    }
}

TEST_CASE("true height follows local gravity") {
    // Geopotential metres times g0 over normal gravity: at the equator (9.78033 m/s2, WGS 84) a geopotential kilometre
    // is 9.80665 / 9.78033 km of true height, plus H^2/r.
    const DayAtmosphere day({.pressure_pa = kPressureSeaLevel_pa, .latitude_deg = 0.0});
    CHECK(day.true_height_m(1000.0) == Approx(1000.0 * 9.80665 / 9.7803253 + 0.158).margin(0.01));
}

TEST_CASE("impossible input gives no value instead of a wrong one") {
    const DayAtmosphere day({});
    for (const double p : {0.0, -5.0, 39.0, 130000.0, std::nan("")}) CHECK(std::isnan(day.heights(p, 5.0).above_pad_m));
    CHECK(std::isnan(DayAtmosphere({.pressure_pa = 1000.0}).heights(90000.0, 5.0).above_pad_m));
    CHECK(std::isnan(DayAtmosphere({.temperature_k = 30.0}).heights(90000.0, 5.0).above_pad_m));
}
