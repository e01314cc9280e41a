// Reference: tests/reference/atmosphere.json (U.S. Standard Atmosphere 1976, NOAA-S/T 76-1562, equal to ISO
// 2533:1975 below 32 km; closed forms cross-checked with python3-fluids 1.0.22). Same constants, hence a
// relative tolerance of 1e-9; rows as printed in the tables carry five or six digits, hence 2e-5.
#include <cmath>
#include <map>
#include <string>

#include <catch2/catch.hpp>

#include "shared/atmosphere.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {
const nlohmann::json& atmosphere() {
    return read_reference("atmosphere.json");
}

void check_row(const AirState& air, const nlohmann::json& row) {
    CHECK(air.temperature_k == Approx(row["T_K"].get<double>()).epsilon(1e-9));
    CHECK(air.pressure_pa == Approx(row["p_Pa"].get<double>()).epsilon(1e-9));
    CHECK(air.density_kg_m3 == Approx(row["rho_kgm3"].get<double>()).epsilon(1e-9));
    CHECK(air.speed_of_sound_mps == Approx(row["a_mps"].get<double>()).epsilon(1e-9));
}
} // namespace

TEST_CASE("The standard atmosphere gives the table's rows by geopotential height") {
    std::size_t published = 0;
    for (const auto& row : atmosphere()["rows_geopotential"]) {
        INFO(row["id"]);
        const AirState air = standard_atmosphere(row["geopotential_m"]);
        check_row(air, row);
        CHECK(geopotential_from_geometric_m(row["geometric_m"]) ==
              Approx(row["geopotential_m"].get<double>()).epsilon(1e-12).margin(1e-9));
        if (row.contains("published_row")) {
            CHECK(air.pressure_pa / 100.0 == Approx(row["published_row"]["p_hPa"].get<double>()).epsilon(2e-5));
            CHECK(air.density_kg_m3 == Approx(row["published_row"]["rho_kgm3"].get<double>()).epsilon(2e-5));
            CHECK(air.speed_of_sound_mps == Approx(row["published_row"]["a_mps"].get<double>()).epsilon(2e-5));
            ++published;
        }
    }
    CHECK(atmosphere()["rows_geopotential"].size() == 18);
    CHECK(published == 12);
}

TEST_CASE("The standard atmosphere gives the table's rows by geometric height") {
    for (const auto& row : atmosphere()["rows_geometric"]) {
        INFO(row["id"]);
        const double geopotential_m = geopotential_from_geometric_m(row["geometric_m"]);
        CHECK(geopotential_m == Approx(row["geopotential_m"].get<double>()).epsilon(1e-12));
        check_row(standard_atmosphere(geopotential_m), row);
    }
    CHECK(atmosphere()["rows_geometric"].size() == 18);
}

TEST_CASE("Every layer starts where the one below ends") {
    std::size_t count = 0;
    for (const auto& layer : atmosphere()["layers"]) {
        const double base_m = layer["base_geopotential_m"];
        INFO(base_m);
        const AirState air = standard_atmosphere(base_m);
        CHECK(air.temperature_k == Approx(layer["T_K"].get<double>()).epsilon(1e-12));
        CHECK(air.pressure_pa == Approx(layer["p_Pa"].get<double>()).epsilon(1e-9));
        const AirState above = standard_atmosphere(base_m + 1.0);
        CHECK(above.temperature_k - air.temperature_k == Approx(layer["lapse_K_per_m"].get<double>()).margin(1e-10));
        if (base_m > 0) {
            const AirState below = standard_atmosphere(std::nextafter(base_m, 0.0));
            CHECK(below.pressure_pa == Approx(air.pressure_pa).epsilon(1e-13));
        }
        ++count;
    }
    CHECK(count == 7);
}

TEST_CASE("Pressure altitude agrees with the reference and inverts the profile in every layer") {
    for (const auto& row : atmosphere()["pressure_to_altitude"]) {
        INFO(row["id"]);
        CHECK(pressure_altitude_m(row["p_Pa"]) ==
              Approx(row["pressure_altitude_m"].get<double>()).margin(1e-6).epsilon(1e-11));
    }
    CHECK(atmosphere()["pressure_to_altitude"].size() == 30);
    for (const auto& row : atmosphere()["altitude_feet"]) {
        INFO(row["id"]);
        CHECK(pressure_altitude_m(row["p_Pa"]) == Approx(row["geopotential_m"].get<double>()).margin(1e-6));
    }
    for (double height_m = -5000.0; height_m <= 84852.0; height_m += 250.0) {
        INFO(height_m);
        CHECK(pressure_altitude_m(standard_atmosphere(height_m).pressure_pa) == Approx(height_m).margin(1e-6));
    }
}

TEST_CASE("Speed of sound agrees with the reference") {
    for (const auto& row : atmosphere()["speed_of_sound"])
        CHECK(speed_of_sound_mps(row["T_K"]) == Approx(row["a_mps"].get<double>()).epsilon(1e-12));
    CHECK(atmosphere()["speed_of_sound"].size() == 9);
}

TEST_CASE("Outside the table there is no value") {
    for (const double height_m : {-5000.1, 84852.1, std::nan(""), static_cast<double>(INFINITY)})
        CHECK(std::isnan(standard_atmosphere(height_m).pressure_pa));
    for (const double pressure_pa : {0.0, -1.0, 1e-3, 2e5, std::nan(""), static_cast<double>(INFINITY)})
        CHECK(std::isnan(pressure_altitude_m(pressure_pa)));
}

TEST_CASE("Differences of pressure altitude are an altimeter's and a height above the pad's pressure") {
    std::size_t count = 0;
    for (const auto& row : atmosphere()["altimeter"]) {
        INFO(row["id"]);
        CHECK(pressure_altitude_m(row["p_Pa"]) - pressure_altitude_m(row["qnh_Pa"]) ==
              Approx(row["altitude_m"].get<double>()).margin(1e-3));
        ++count;
    }
    for (const auto& row : atmosphere()["qfe_heights"]) {
        INFO(row["id"]);
        CHECK(pressure_altitude_m(row["p_Pa"]) - pressure_altitude_m(row["pad_p_Pa"]) ==
              Approx(row["height_above_pad_isa_m"].get<double>()).margin(1e-3));
        ++count;
    }
    CHECK(count == 9);
}

TEST_CASE("The constants are the standard's") {
    const std::map<std::string, double> ours{{"P0", kPressureSeaLevel_pa},
                                             {"T0", kTemperatureSeaLevel_k},
                                             {"rho0", standard_atmosphere(0).density_kg_m3},
                                             {"a0", standard_atmosphere(0).speed_of_sound_mps},
                                             {"g0", kGravityStandard_mps2},
                                             {"R_specific", kGasConstantAir_j_per_kg_k},
                                             {"gamma", kHeatRatioAir},
                                             {"r0", kEarthRadius_m},
                                             {"lapse_troposphere", kLapseTroposphere_k_per_m}};
    std::size_t count = 0;
    for (const auto& row : atmosphere()["constants"]) {
        const auto found = ours.find(row["id"]);
        if (found != ours.end()) {
            INFO(row["id"]);
            CHECK(found->second == Approx(row["value"].get<double>()).epsilon(1e-12));
            ++count;
        }
    }
    CHECK(count == ours.size());
}
