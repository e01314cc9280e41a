/// The simulator's own air, gravity and wind against published values.
#include <cmath>

#include "tests/sim/support.hpp"

using namespace turnstone;
using namespace turnstone::sim;

TEST_CASE("The standard day reproduces rows of the U.S. Standard Atmosphere 1976") {
    // NOAA-S/T 76-1562, Table I, geometric altitude; last printed digit.
    struct Row {
        double geometric_m, temperature_k, pressure_pa, density_kg_m3;
    };
    const Row rows[] = {{0.0, 288.150, 1.01325e5, 1.2250},
                        {1000.0, 281.651, 8.9876e4, 1.1117},
                        {5000.0, 255.676, 5.4048e4, 7.3643e-1},
                        {10000.0, 223.252, 2.6500e4, 4.1351e-1}};
    const Air sea_level = Air::standard(0.0);
    const Air plateau = Air::standard(1000.0);
    for (const Row& row : rows) {
        INFO(row.geometric_m);
        for (const AirPoint& point : {sea_level.at(row.geometric_m), plateau.at(row.geometric_m - 1000.0)}) {
            CHECK(point.temperature_k == Approx(row.temperature_k).margin(6e-4));
            CHECK(point.pressure_pa == Approx(row.pressure_pa).epsilon(3e-5));
            CHECK(point.density_kg_m3 == Approx(row.density_kg_m3).epsilon(6e-5));
        }
    }
    CHECK(sea_level.at(0.0).speed_of_sound_mps == Approx(340.294).margin(1e-3));
}

TEST_CASE("Gravity at the pad is that of the Geodetic Reference System 1980") {
    // H. Moritz, Geodetic Reference System 1980: equator 9.7803267715, 45 degrees 9.806199203,
    // pole 9.8321863685 m/s2.
    CHECK(gravity_at_pad(0.0, 0.0).at(0.0) == Approx(9.7803267715).margin(2e-5));
    CHECK(gravity_at_pad(45.0, 0.0).at(0.0) == Approx(9.806199203).margin(2e-5));
    CHECK(gravity_at_pad(-90.0, 0.0).at(0.0) == Approx(9.8321863685).margin(2e-5));
    // Free-air gradient 0.3086 mGal per metre.
    const Gravity gravity = gravity_at_pad(40.0, 1000.0);
    CHECK((gravity.at(0.0) - gravity.at(1000.0)) == Approx(3.086e-3).epsilon(0.01));
}
