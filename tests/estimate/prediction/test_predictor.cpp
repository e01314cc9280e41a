// Predictions against closed forms and against numbers computed with SciPy: tests/reference/numerics/ballistic.json (J.
// R. Taylor, "Classical Mechanics", 2005, section 2.4; ISO 2533 air) and dispersion.json (T. W. Anderson, "An
// Introduction to Multivariate Statistical Analysis", 2003). Against the truth of simulated flights: tests/trials.
#include <catch2/catch.hpp>

#include <cmath>
#include <memory>
#include <random>

#include "server/estimate/math/angles.hpp"
#include "server/estimate/prediction/flight_fit.hpp"
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
        INFO(c.at("id"));
        const auto rocket = motorless(in.at("mass_kg"), in.at("area_m2"), in.at("cd"));
        FlightConditions conditions(rocket, kGravityStandard_mps2, ground);
        if (constant) {
            conditions.density_kg_m3.fill(in.at("rho_kg_m3").get<double>());
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

namespace {

/// A finned body in a vertical plane, by angles and Runge-Kutta steps of a millisecond: path angle and body angle from
/// the vertical, speed, place. What the predictor does with vectors in steps of 50 ms.
struct PlanarBody {
    double mass_kg, area_m2, drag_coefficient, normal_slope, margin_m, inertia_kg_m2, length_m, density_kg_m3;

    struct State {
        double across_m, up_m, across_mps, up_mps, angle_rad, rate_radps;
    };

    [[nodiscard]] State rate(const State& s) const {
        const double speed = std::hypot(s.across_mps, s.up_mps);
        const double flow = 0.5 * density_kg_m3 * speed * area_m2;
        // Unit vectors along the nose and across it, in the plane of (across, up).
        const double nx = std::sin(s.angle_rad), ny = std::cos(s.angle_rad);
        const double sideways = s.across_mps * ny - s.up_mps * nx; // speed across the nose
        const double push = -flow * normal_slope * sideways;
        const double fx = -flow * drag_coefficient * s.across_mps + push * ny;
        const double fy = -flow * drag_coefficient * s.up_mps - push * nx;
        const double torque = -push * margin_m - flow * length_m * length_m * s.rate_radps;
        return {s.across_mps,          s.up_mps, fx / mass_kg, fy / mass_kg - kGravityStandard_mps2, s.rate_radps,
                torque / inertia_kg_m2};
    }

    [[nodiscard]] double apogee_m(State s) const {
        const auto plus = [](const State& a, const State& b, double h) {
            return State{a.across_m + h * b.across_m, a.up_m + h * b.up_m,           a.across_mps + h * b.across_mps,
                         a.up_mps + h * b.up_mps,     a.angle_rad + h * b.angle_rad, a.rate_radps + h * b.rate_radps};
        };
        constexpr double kStep_s = 0.001;
        while (s.up_mps > 0) {
            const State k1 = rate(s), k2 = rate(plus(s, k1, kStep_s / 2)), k3 = rate(plus(s, k2, kStep_s / 2)),
                        k4 = rate(plus(s, k3, kStep_s));
            s = plus(plus(plus(plus(s, k1, kStep_s / 6), k2, kStep_s / 3), k3, kStep_s / 3), k4, kStep_s / 6);
        }
        return s.up_m;
    }
};

} // namespace

TEST_CASE("a finned body that lags behind its path climbs higher than a point mass, by what its own equations say") {
    const Site site{};
    const Ground ground(site);
    for (const double lean_deg : {5.0, 15.0, 30.0}) {
        for (const double speed_mps : {40.0, 120.0}) {
            for (const bool stiff : {false, true}) {
                INFO(lean_deg << " deg, " << speed_mps << " m/s, " << (stiff ? "stiff" : "soft"));
                RocketModel rocket = motorless(3.0, 0.005, 0.5);
                rocket.length_m = 1.6;
                rocket.static_margin_m = stiff ? 0.2 : 0.06;
                FlightConditions conditions(rocket, kGravityStandard_mps2, ground);
                conditions.density_kg_m3.fill(1.1);
                const double lean = radians(lean_deg);
                const auto start = [&] {
                    auto b = block_at(0, speed_mps * std::cos(lean));
                    b->vx_mps = Lanes::Constant(speed_mps * std::sin(lean));
                    b->nose_x = Lanes::Constant(std::sin(lean));
                    b->nose_z = Lanes::Constant(std::cos(lean));
                    return b;
                };
                const auto b = start();
                climb(conditions, *b);
                const PlanarBody body{3.0,
                                      0.005,
                                      0.5,
                                      conditions.normal_area_m2 / 0.005,
                                      *rocket.static_margin_m,
                                      conditions.normal_area_m2 * *rocket.static_margin_m /
                                          conditions.stiffness_m_per_kg,
                                      1.6,
                                      1.1};
                const double expected_m =
                    body.apogee_m({0, 0, speed_mps * std::sin(lean), speed_mps * std::cos(lean), lean, 0});
                const auto point = start();
                conditions.normal_area_m2 = 0;
                climb(conditions, *point);
                CHECK(b->apogee_m(0) > point->apogee_m(0));
                // The lag's part of the height to a tenth, or to a thousandth of the whole.
                const double part_m = expected_m - point->apogee_m(0);
                CHECK(b->apogee_m(0) == Approx(expected_m).margin(std::max(0.1 * part_m, 1e-3 * expected_m)));
            }
        }
    }
}

TEST_CASE("thrust off the axis turns a vehicle without air as its torque says") {
    const Site site{};
    const Ground ground(site);
    RocketModel rocket = motorless(3.0, 0.005, 0.5);
    rocket.thrust_n = {{0, 2}, {300, 300}};
    rocket.length_m = 1.6;
    FlightConditions conditions(rocket, kGravityStandard_mps2, ground);
    conditions.density_kg_m3.fill(1e-9);
    const double off_rad = radians(0.1);
    for (const bool east : {true, false}) {
        const auto b = block_at(0, 20);
        b->burning = true;
        (east ? b->thrust_east : b->thrust_north) = Lanes::Constant(off_rad);
        double turned_rad = 0;
        climb(conditions, *b, [&](const FlightBlock& now) {
            if (now.t_s(0) < 0.5) turned_rad = std::atan2(east ? now.nose_x(0) : now.nose_y(0), now.nose_z(0));
            // Half a turn of the angle's acceleration, times the time squared; the nose leaves the side it is pushed
            // to.
            if (now.t_s(0) > 0.29 && now.t_s(0) < 0.31)
                CHECK(turned_rad ==
                      Approx(-0.5 * off_rad * 300 * conditions.turn_per_push_per_kg_m * std::pow(now.t_s(0), 2))
                          .epsilon(0.02));
        });
        CHECK(turned_rad < -0.01);
    }
}

TEST_CASE("a motor that pushes harder has as much more impulse as drawn motors have") {
    FlightScatter scatter{};
    scatter.thrust = 0.04;
    scatter.burn_time = 0.03;
    std::mt19937 random(9);
    std::normal_distribution<double> normal(0, 1);
    double level2 = 0, both = 0, impulse2 = 0;
    constexpr int kMotors = 200000;
    for (int k = 0; k < kMotors; ++k) {
        const double impulse = scatter.thrust * normal(random);
        // At the same impulse a longer burn is a weaker one, and one that begins strong ends weak.
        const double level = impulse - scatter.burn_time * normal(random) + 0.03 * normal(random);
        level2 += level * level / kMotors;
        both += level * impulse / kMotors;
        impulse2 += impulse * impulse / kMotors;
    }
    const double slope = both / level2;
    for (const double thrust : {0.9, 1.0, 1.08}) {
        const Factor impulse = impulse_at(thrust, scatter);
        CHECK(impulse.value - 1 == Approx(slope * (thrust - 1)).epsilon(0.02).margin(1e-12));
        CHECK(impulse.sigma == Approx(std::sqrt(impulse2 - slope * both)).epsilon(0.01));
    }
    RocketModel rocket{};
    rocket.scatter = scatter;
    CHECK(FlightFit(rocket).thrust().sigma == Approx(std::sqrt(level2)).epsilon(0.02));
}

TEST_CASE("air and wind hold up to twelve kilometres above the pad") {
    // Density of the U.S. Standard Atmosphere 1976, table I, at geometric heights above sea level.
    const Site site{};
    const Ground ground(site);
    FlightConditions conditions(motorless(1, 1, 0.5), kGravityStandard_mps2, ground);
    conditions.set_air(DayAtmosphere(PadReference{}));
    const std::pair<double, double> table[] = {
        {0, 1.2250}, {5000, 0.73643}, {10000, 0.41351}, {12000, 0.31194}, {15000, 0.19476}};
    for (const auto& [height_m, density_kg_m3] : table)
        CHECK(conditions.density_kg_m3[static_cast<std::size_t>(height_m / FlightConditions::kAirStep_m)] ==
              Approx(density_kg_m3).epsilon(0.01)); // our profile bends at 1 km above the pad
    Site windy{};
    windy.wind = {{0, 5, 270}, {12000, 50, 270}};
    const WindProfile wind(windy);
    CHECK(wind.at(12000).x() == Approx(50));
    CHECK(wind.at(6000).x() == Approx(27.5));
    CHECK(wind.at(1000).x() == Approx(8.75));
}
