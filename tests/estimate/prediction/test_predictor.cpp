// Predictions against closed forms and against numbers computed with SciPy: tests/reference/numerics/ballistic.json (J.
// R. Taylor, "Classical Mechanics", 2005, section 2.4; ISO 2533 air) and dispersion.json (T. W. Anderson, "An
// Introduction to Multivariate Statistical Analysis", 2003). Against the truth of simulated flights: tests/trials.
#include <catch2/catch.hpp>

#include <cmath>
#include <memory>

#include "server/estimate/prediction/landing_area.hpp"
#include "server/estimate/prediction/trajectories.hpp"
#include "tests/estimate/prediction/motorless.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using namespace turnstone::test;

namespace {

const nlohmann::json& cases_of(const std::string& name) {
    return read_reference("numerics/" + name).at("cases");
}

} // namespace

TEST_CASE("a coasting vehicle reaches the apogee of closed forms and of an adaptive integrator") {
    const Site site{};
    const Ground ground(site);
    int ran = 0;
    for (const auto& c : cases_of("ballistic.json")) {
        const std::string kind = c.at("kind");
        const bool constant = kind == "coast_constant_density";
        if (!constant && !(kind == "coast_isa_density" && c.at("inputs").at("gravity") == "constant 9.80665")) continue;
        const auto& in = c.at("inputs");
        const auto& expected = c.at("expected");
        const double apogee_m = expected.at(constant ? "apogee_height_m" : "apogee_above_pad_m");
        const double h0_m = in.value("h0_above_pad_m", 0.0);
        const double v0_mps = in.at("v0_m_s");
        if (!constant && (v0_mps > 250 || apogee_m > 3500)) continue; // beyond the air's cubic
        INFO(c.at("id"));
        const auto rocket = motorless(in.at("mass_kg"), in.at("area_m2"), in.at("cd"));
        FlightConditions conditions(rocket, kGravityStandard_mps2, ground);
        if (constant) {
            conditions.density_kg_m3 = {in.at("rho_kg_m3").get<double>(), 0, 0, 0};
        } else {
            PadReference pad;
            pad.height_msl_m = in.at("pad_elevation_m");
            pad.temperature_k = kTemperatureSeaLevel_k + kLapseTroposphere_k_per_m * pad.height_msl_m;
            pad.pressure_pa = kPressureSeaLevel_pa * std::pow(pad.temperature_k / kTemperatureSeaLevel_k, 5.25588);
            conditions.set_air(DayAtmosphere(pad));
        }
        const auto b = block_at(h0_m, v0_mps);
        climb(conditions, *b);
        CHECK(b->apogee_m(3) - h0_m == Approx(apogee_m - h0_m).epsilon(1e-3));
        CHECK(b->apogee_s(3) == Approx(expected.at("time_to_apogee_s").get<double>()).epsilon(1e-3));
        ++ran;
    }
    CHECK(ran >= 6);
}

TEST_CASE("ellipses are those of the covariance") {
    int ran = 0;
    for (const auto& c : cases_of("dispersion.json")) {
        if (c.at("kind") != "ellipse_from_covariance") continue;
        const auto& m = c.at("inputs").at("covariance_m2_east_north");
        Eigen::Matrix2d covariance;
        covariance << m[0][0].get<double>(), m[0][1].get<double>(), m[1][0].get<double>(), m[1][1].get<double>();
        for (const auto& e : c.at("expected").at("ellipses")) {
            INFO(c.at("id"));
            const Ellipse found = ellipse(covariance, e.at("probability"));
            CHECK(found.semi_major_m == Approx(e.at("semi_major_m").get<double>()).epsilon(1e-9));
            CHECK(found.semi_minor_m == Approx(e.at("semi_minor_m").get<double>()).epsilon(1e-6).margin(1e-6));
            ++ran;
        }
    }
    CHECK(ran >= 20);
}

TEST_CASE("points lie inside or outside a polygon as the reference says") {
    int ran = 0;
    for (const auto& c : cases_of("dispersion.json")) {
        if (c.at("kind") != "point_in_polygon") continue;
        std::vector<Eigen::Vector2d> polygon;
        for (const auto& v : c.at("inputs").at("vertices")) polygon.push_back({v[0].get<double>(), v[1].get<double>()});
        for (const auto& row : c.at("expected").at("rows")) {
            INFO(c.at("id"));
            CHECK(inside(polygon, {row[0].get<double>(), row[1].get<double>()}) == row[2].get<bool>());
            ++ran;
        }
    }
    CHECK(ran > 50);
}
