// The flights that predictions are made of, way down and way up, against tests/reference/numerics/: ballistic.json
// (terminal speed: weight = drag; J. R. Taylor, "Classical Mechanics", 2005, section 2.4; K. E. Tsiolkovsky 1903; drift
// integrals by scipy.integrate.quad; whole trajectories by SciPy solve_ivp DOP853 at 1e-12) and dispersion.json
// (probabilities by Green's theorem and quadrature, shapely; E. B. Wilson's and binomial bounds).
#include <catch2/catch.hpp>

#include <array>
#include <cmath>
#include <limits>
#include <memory>
#include <random>
#include <string>
#include <vector>

#include "server/estimate/math/angles.hpp"
#include "server/estimate/prediction/landing_area.hpp"
#include "server/estimate/prediction/predictor.hpp"
#include "server/estimate/prediction/trajectories.hpp"
#include "tests/estimate/prediction/motorless.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using namespace turnstone::test;

namespace {

std::vector<nlohmann::json> cases_of(const std::string& file, const std::string& kind) {
    auto cases = reference_cases("numerics/" + file, kind);
    REQUIRE_FALSE(cases.empty());
    return cases;
}

/// Standard air above a pad at `elevation_m`.
DayAtmosphere standard_air(double elevation_m) {
    const AirState air = standard_atmosphere(geopotential_from_geometric_m(elevation_m));
    PadReference pad;
    pad.height_msl_m = elevation_m;
    pad.temperature_k = air.temperature_k;
    pad.pressure_pa = air.pressure_pa;
    return DayAtmosphere(pad);
}

/// One parachute, open for long.
std::unique_ptr<FlightBlock> under_parachute(double height_m, double drag_area_m2) {
    auto b = block_at(height_m, 0);
    b->parachute_m2[0] = Lanes::Constant(drag_area_m2);
    b->opens_s[0] = Lanes::Constant(-10);
    return b;
}

Eigen::Vector2d air_velocity(double speed_mps, double from_deg) {
    return {-speed_mps * std::sin(from_deg * M_PI / 180), -speed_mps * std::cos(from_deg * M_PI / 180)};
}

/// East and north linear between the table's heights, which all lie on nodes of the profile.
void set_wind(FlightBlock& b, const nlohmann::json& table) {
    for (int node = 0; node < WindProfile::kNodes; ++node) {
        const double h = WindProfile::node_height_m(node);
        Eigen::Vector2d wind = air_velocity(table.back().at(1), table.back().at(2));
        for (std::size_t k = 0; k + 1 < table.size(); ++k) {
            const double low = table[k].at(0), high = table[k + 1].at(0);
            if (h >= low && h <= high) {
                const double part = (h - low) / (high - low);
                wind = (1 - part) * air_velocity(table[k].at(1), table[k].at(2)) +
                       part * air_velocity(table[k + 1].at(1), table[k + 1].at(2));
                break;
            }
        }
        b.wind_east.col(node).setConstant(wind.x());
        b.wind_north.col(node).setConstant(wind.y());
    }
}

/// What quadrature leaves out: a body under a parachute follows the wind with a time constant of descent speed over
/// gravity, so that it brings that much of the upper wind down with it. Exact for one descent speed.
Eigen::Vector2d lag(const FlightBlock& b, int upper_node, int lower_node, double descent_speed_mps) {
    return descent_speed_mps / kGravityStandard_mps2 *
           Eigen::Vector2d(b.wind_east(0, upper_node) - b.wind_east(0, lower_node),
                           b.wind_north(0, upper_node) - b.wind_north(0, lower_node));
}

const Site kFlat{};

} // namespace

TEST_CASE("under a parachute a vehicle falls at its terminal speed") {
    const Ground ground(kFlat);
    int ran = 0;
    for (const char* kind : {"terminal_speed", "parachute_sizing"}) {
        for (const auto& c : cases_of("ballistic.json", kind)) {
            INFO(c.at("id"));
            const auto& in = c.at("inputs");
            const auto& expected = c.at("expected");
            const bool sizing = c.at("kind") == "parachute_sizing";
            const double area_m2 = sizing ? expected.at("drag_area_cdS_m2").get<double>()
                                          : in.at("cd").get<double>() * in.at("area_m2").get<double>();
            const double speed_mps = sizing ? in.at("descent_speed_m_s") : expected.at("descent_speed_m_s");
            const RocketModel rocket = motorless(in.at("mass_kg"), 1, 0);
            FlightConditions conditions(rocket, in.at("g_m_s2"), ground);
            conditions.density_kg_m3.fill(in.at("rho_kg_m3").get<double>());
            const auto b = under_parachute(1500, area_m2);
            descend(conditions, *b);
            CHECK(-b->vz_mps(2) == Approx(speed_mps).epsilon(1e-6));
            CHECK(b->landing_east_m(2) == 0);
            ++ran;
        }
    }
    CHECK(ran == 9);
}

TEST_CASE("drift under a parachute through layers of wind agrees with sums, quadrature and an adaptive integrator") {
    const Ground ground(kFlat);
    for (const auto& c : cases_of("ballistic.json", "drift_sum")) {
        const auto& in = c.at("inputs");
        const double speed_mps = in.at("descent_speed_m_s");
        const RocketModel rocket = motorless(1.5, 1, 0);
        FlightConditions conditions(rocket, kGravityStandard_mps2, ground);
        conditions.density_kg_m3.fill(1.1);
        const auto b =
            under_parachute(in.at("start_height_m"), 2 * 1.5 * kGravityStandard_mps2 / (1.1 * speed_mps * speed_mps));
        // A layer's wind up to the node before its bound, the mean of both at the bound: a ramp with the same integral.
        for (int node = 0; node < WindProfile::kNodes; ++node) {
            const double h = WindProfile::node_height_m(node);
            Eigen::Vector2d wind(0, 0);
            double fraction = 0;
            for (const auto& layer : in.at("layers_bottom_top_speed_from_deg")) {
                if (h >= layer.at(0) &&
                    (h <= layer.at(1) || layer == in.at("layers_bottom_top_speed_from_deg").back())) {
                    wind += air_velocity(layer.at(2), layer.at(3));
                    fraction += 1;
                }
            }
            b->wind_east.col(node).setConstant(wind.x() / fraction);
            b->wind_north.col(node).setConstant(wind.y() / fraction);
        }
        b->vz_mps = Lanes::Constant(-speed_mps);
        b->vx_mps = b->wind_east.col(20);
        b->vy_mps = b->wind_north.col(20);
        descend(conditions, *b);
        const auto& expected = c.at("expected");
        const Eigen::Vector2d late = lag(*b, 20, 0, speed_mps);
        CHECK(b->landing_east_m(0) == Approx(expected.at("drift_east_m").get<double>() + late.x()).epsilon(5e-4));
        CHECK(b->landing_north_m(0) == Approx(expected.at("drift_north_m").get<double>() + late.y()).epsilon(5e-4));
        // Slower: crosswind adds to the drag while the vehicle lags behind the air.
        CHECK(b->landing_s(0) == Approx(expected.at("descent_time_s").get<double>()).epsilon(1e-4));
    }
    int ran = 0;
    for (const char* kind : {"drift_quasi_steady", "drift_dynamic"}) {
        for (const auto& c : cases_of("ballistic.json", kind)) {
            INFO(c.at("id"));
            const auto& in = c.at("inputs");
            const auto& expected = c.at("expected");
            const bool dynamic = c.at("kind") == "drift_dynamic";
            const RocketModel rocket = motorless(in.at("mass_kg"), 1, 0);
            FlightConditions conditions(rocket, in.at("g_m_s2"), ground);
            conditions.set_air(standard_air(in.at("pad_elevation_m")));
            const double height_m = in.at("start_height_m");
            const auto b = under_parachute(height_m, in.at("drag_area_cdS_m2"));
            set_wind(*b, in.at("wind_table_height_speed_from_deg"));
            if (dynamic) {
                const auto& v = in.at("start_velocity_east_north_up_m_s");
                b->vx_mps = Lanes::Constant(v[0]);
                b->vy_mps = Lanes::Constant(v[1]);
                b->vz_mps = Lanes::Constant(v[2]);
            } else {
                const auto node = static_cast<Eigen::Index>(height_m / WindProfile::kStep_m);
                b->vx_mps = b->wind_east.col(node);
                b->vy_mps = b->wind_north.col(node);
                b->vz_mps = Lanes::Constant(-expected.at("descent_speed_top_m_s").get<double>());
            }
            descend(conditions, *b);
            const double distance_m =
                std::hypot(expected.at("drift_east_m").get<double>(), expected.at("drift_north_m").get<double>());
            const double margin = dynamic ? 2e-4 * distance_m : 1e-3 * distance_m;
            Eigen::Vector2d late(0, 0);
            if (!dynamic) {
                const double speed_mps = 0.5 * (expected.at("descent_speed_top_m_s").get<double>() +
                                                expected.at("descent_speed_ground_m_s").get<double>());
                late = lag(*b, static_cast<int>(height_m / WindProfile::kStep_m), 0, speed_mps);
            }
            CHECK(b->landing_east_m(1) == Approx(expected.at("drift_east_m").get<double>() + late.x()).margin(margin));
            CHECK(b->landing_north_m(1) ==
                  Approx(expected.at("drift_north_m").get<double>() + late.y()).margin(margin));
            CHECK(b->landing_s(1) ==
                  Approx(expected.at("descent_time_s").get<double>()).epsilon(dynamic ? 2e-4 : 2e-3));
            if (dynamic)
                CHECK(-b->vz_mps(1) == Approx(expected.at("landing_speed_vertical_m_s").get<double>()).epsilon(1e-4));
            ++ran;
        }
    }
    CHECK(ran == 6);
}

TEST_CASE("two parachutes, the second at a height, drift as the quadrature says") {
    const Ground ground(kFlat);
    for (const auto& c : cases_of("ballistic.json", "drift_two_stage")) {
        const auto& in = c.at("inputs");
        const auto& expected = c.at("expected");
        RocketModel rocket = motorless(in.at("mass_kg"), 1, 0);
        // The reference's second area replaces the first; ours adds to it, as the first parachute stays out.
        const double second_m2 = in.at("drag_area_main_m2").get<double>() - in.at("drag_area_first_m2").get<double>();
        rocket.parachutes = {{"first", in.at("drag_area_first_m2")},
                             {"main", second_m2, in.at("main_opens_at_height_m").get<double>()}};
        FlightConditions conditions(rocket, in.at("g_m_s2"), ground);
        conditions.set_air(standard_air(in.at("pad_elevation_m")));
        const auto b = under_parachute(in.at("start_height_m"), in.at("drag_area_first_m2"));
        b->parachute_m2[1] = Lanes::Constant(second_m2);
        b->opens_s[1] = Lanes::Constant(std::numeric_limits<double>::infinity());
        set_wind(*b, in.at("wind_table_height_speed_from_deg"));
        const auto node = static_cast<Eigen::Index>(in.at("start_height_m").get<double>() / WindProfile::kStep_m);
        b->vx_mps = b->wind_east.col(node);
        b->vy_mps = b->wind_north.col(node);
        b->vz_mps = Lanes::Constant(-std::sqrt(2 * 3.0 * kGravityStandard_mps2 / (0.08 * 1.0)));
        descend(conditions, *b);
        // The reference opens in no time; ours fills over 0.7 s and then slows down, some 15 m at up to 25 m/s instead
        // of at 6 m/s: about 2 s less in the air, and less drift by the wind at that height.
        const double time_s = expected.at("time_first_s").get<double>() + expected.at("time_main_s").get<double>();
        const double distance_m =
            std::hypot(expected.at("drift_east_m").get<double>(), expected.at("drift_north_m").get<double>());
        CHECK(b->landing_s(5) < time_s);
        CHECK(b->landing_s(5) > time_s - 2.5);
        const Eigen::Vector2d late =
            lag(*b, static_cast<int>(node), 5, expected.at("speed_before_main_m_s")) +
            lag(*b, 5, 0, expected.at("speed_ground_m_s")) +
            (b->landing_s(5) - time_s) * Eigen::Vector2d(b->wind_east(0, 5), b->wind_north(0, 5));
        CHECK(b->landing_east_m(5) ==
              Approx(expected.at("drift_east_m").get<double>() + late.x()).margin(0.01 * distance_m));
        CHECK(b->landing_north_m(5) ==
              Approx(expected.at("drift_north_m").get<double>() + late.y()).margin(0.01 * distance_m));
        CHECK(-b->vz_mps(5) == Approx(expected.at("speed_ground_m_s").get<double>()).epsilon(1e-3));
    }
}

TEST_CASE("without a parachute a vehicle falls as closed forms and an adaptive integrator say") {
    const Ground ground(kFlat);
    int ran = 0;
    for (const auto& c : cases_of("ballistic.json", "coast_constant_density")) {
        INFO(c.at("id"));
        const auto& in = c.at("inputs");
        const auto& expected = c.at("expected");
        const RocketModel rocket =
            motorless(in.at("mass_kg"), 1, in.at("cd").get<double>() * in.at("area_m2").get<double>());
        FlightConditions conditions(rocket, in.at("g_m_s2"), ground);
        conditions.density_kg_m3.fill(in.at("rho_kg_m3").get<double>());
        const auto b = block_at(expected.at("apogee_height_m"), 0);
        descend(conditions, *b);
        // A straight line through the last step of 0.1 s: g (0.1 s)^2 / 8 at most, at the speed of impact.
        CHECK(b->landing_s(0) == Approx(expected.at("free_fall_time_from_apogee_s").get<double>())
                                     .epsilon(2e-4)
                                     .margin(0.0123 / expected.at("impact_speed_m_s").get<double>()));
        // The state kept is that of the step that reached the ground, at most 0.1 s later.
        CHECK(-b->vz_mps(0) == Approx(expected.at("impact_speed_m_s").get<double>()).margin(1.0));
        ++ran;
    }
    for (const char* kind : {"ballistic_no_drag", "ballistic_drag_isa"}) {
        for (const auto& c : cases_of("ballistic.json", kind)) {
            INFO(c.at("id"));
            const auto& in = c.at("inputs");
            const auto& expected = c.at("expected");
            const bool drag = c.at("kind") == "ballistic_drag_isa";
            const double elevation = in.at("elevation_deg").get<double>() * M_PI / 180;
            const RocketModel rocket =
                drag ? motorless(in.at("mass_kg"), 1, in.at("cd").get<double>() * in.at("area_m2").get<double>())
                     : motorless(1, 1, 0);
            FlightConditions conditions(rocket, kGravityStandard_mps2, ground);
            if (drag) conditions.set_air(standard_air(in.at("pad_elevation_m")));
            const auto b = block_at(0, 0);
            b->vz_mps = Lanes::Constant(in.at("v0_m_s").get<double>() * std::sin(elevation));
            b->vy_mps = Lanes::Constant(in.at("v0_m_s").get<double>() * std::cos(elevation));
            climb(conditions, *b);
            const double apogee_m = expected.at(drag ? "apogee_above_pad_m" : "apogee_m");
            CHECK(b->apogee_m(7) == Approx(apogee_m).epsilon(1e-3));
            descend(conditions, *b);
            CHECK(b->landing_s(7) == Approx(expected.at("flight_time_s").get<double>()).epsilon(1e-3));
            CHECK(b->landing_north_m(7) == Approx(expected.at("range_m").get<double>()).epsilon(2e-3));
            CHECK(b->landing_east_m(7) == 0);
            ++ran;
        }
    }
    CHECK(ran == 12);
}

TEST_CASE("powered ascents reach the apogee of Tsiolkovsky's equation and of an adaptive integrator") {
    const Ground ground(kFlat);
    int ran = 0;
    for (const char* kind : {"powered_vacuum", "powered_vertical"}) {
        for (const auto& c : cases_of("ballistic.json", kind)) {
            INFO(c.at("id"));
            const auto& in = c.at("inputs");
            const auto& expected = c.at("expected");
            const bool vacuum = c.at("kind") == "powered_vacuum";
            RocketModel rocket{};
            rocket.rail_length_m = 0.5;
            rocket.mass_propellant_kg = in.at("propellant_kg");
            if (vacuum) {
                const double burn_s = in.at("burn_time_s");
                rocket.mass_dry_kg = in.at("mass_initial_kg").get<double>() - rocket.mass_propellant_kg;
                rocket.thrust_n = {{0, burn_s}, {in.at("thrust_N"), in.at("thrust_N")}};
                rocket.drag_coefficient = {{0}, {0}};
            } else {
                rocket.mass_dry_kg = in.at("mass_dry_kg");
                rocket.reference_area_m2 = in.at("area_m2");
                for (const auto& point : in.at("thrust_table_s_N")) {
                    rocket.thrust_n.x.push_back(point.at(0));
                    rocket.thrust_n.y.push_back(point.at(1));
                }
                if (in.at("cd").is_number()) {
                    rocket.drag_coefficient = {{0}, {in.at("cd")}};
                } else {
                    for (const auto& point : in.at("cd")) {
                        rocket.drag_coefficient.x.push_back(point.at(0));
                        rocket.drag_coefficient.y.push_back(point.at(1));
                    }
                }
            }
            FlightConditions conditions(rocket, kGravityStandard_mps2, ground);
            if (!vacuum) conditions.set_air(standard_air(in.at("pad_elevation_m")));
            const auto b = block_at(0, 0);
            leave_rail(conditions, *b, Lanes::Zero(), Lanes::Zero(), Lanes::Ones());
            climb(conditions, *b);
            const double apogee_m = expected.at(vacuum ? "apogee_height_m" : "apogee_above_pad_m");
            // Thrust that stops at once, which no vehicle file may hold, stops with the 20 ms step whose middle it
            // passes: speed is off by up to 10 ms of thrust, height by twice that fraction.
            const double end_mps2 = vacuum ? in.at("thrust_N").get<double>() / rocket.mass_dry_kg : 0;
            const double fraction = 0.01 * end_mps2 / expected.at("burn_out_speed_m_s").get<double>();
            CHECK(b->apogee_m(4) == Approx(apogee_m).epsilon(0.003 + 2 * fraction));
            CHECK(b->apogee_s(4) == Approx(expected.at("apogee_time_s").get<double>()).epsilon(0.003 + fraction));
            CHECK(b->x_m(4) == 0);
            ++ran;
        }
    }
    CHECK(ran == 9);
}

TEST_CASE(
    "a prediction's mean, ellipse and fraction outside the boundary are those of the distribution it starts from") {
    // Flights that begin below the ground land where they are: what comes out is the sampled position, through the
    // whole predictor.
    for (const auto& c : cases_of("dispersion.json", "polygon_probability")) {
        INFO(c.at("id"));
        const auto& in = c.at("inputs");
        Site site{};
        site.pad = {40.0, -118.0, 1200.0};
        const LocalFrame frame(site.pad);
        for (const auto& v : in.at("vertices"))
            site.boundary.push_back(frame.to_geodetic({v[0].get<double>(), v[1].get<double>(), 0}));
        const RocketModel rocket = motorless(1, 1, 0);
        Predictor predictor(rocket, site);
        PredictionStart start{};
        start.phase = Phase::under_main;
        start.position_enu_m = {in.at("mean_m")[0].get<double>(), in.at("mean_m")[1].get<double>(), -1.0};
        start.velocity_enu_mps = {0, 0, -1e-3};
        start.nose_enu = {0, 0, 1};
        start.covariance = 1e-12 * Eigen::Matrix<double, 6, 6>::Identity();
        const auto& cov = in.at("covariance_m2");
        start.covariance.topLeftCorner<2, 2>() << cov[0][0].get<double>(), cov[0][1].get<double>(),
            cov[1][0].get<double>(), cov[1][1].get<double>();
        start.place_known = true;
        start.probability[LandingCaseKind::nominal] = 1;
        predictor.start(start, FlightFit(rocket), WindProfile(site), DayAtmosphere(PadReference{}));
        const auto prediction = predictor.advance(Predictor::kSteps);
        REQUIRE(prediction);
        REQUIRE(prediction->landing[LandingCaseKind::nominal]);
        const LandingCase& landing = *prediction->landing[LandingCaseKind::nominal];
        const auto& bounds = c.at("expected").at("bounds_999_for_2000_samples_outside");
        CHECK(landing.outside >= bounds[0].get<double>());
        CHECK(landing.outside <= bounds[1].get<double>());
        const double n = Predictor::kFlights;
        for (int i = 0; i < 2; ++i) { // four standard errors
            const double variance = start.covariance(i, i);
            CHECK(std::abs(landing.mean_m(i) - start.position_enu_m(i)) < 4 * std::sqrt(variance / n));
            CHECK(std::abs(landing.covariance_m2(i, i) - variance) < 4 * variance * std::sqrt(2 / n));
        }
        CHECK(std::abs(landing.covariance_m2(0, 1) - start.covariance(0, 1)) <
              4 * std::sqrt((start.covariance(0, 0) * start.covariance(1, 1) +
                             start.covariance(0, 1) * start.covariance(0, 1)) /
                            n));
        CHECK(landing.time_s == Approx(0).margin(1e-9));
    }
}

TEST_CASE("ellipses hold the fraction of points that they are named after") {
    for (const auto& c : cases_of("dispersion.json", "chi2_2dof")) {
        for (const auto& row : c.at("expected")) {
            const Ellipse unit = ellipse(Eigen::Matrix2d::Identity(), row.at("p"));
            CHECK(unit.semi_major_m == Approx(row.at("factor_sqrt").get<double>()).epsilon(1e-12));
        }
    }
    for (const auto& c : cases_of("dispersion.json", "sample_ellipse")) {
        INFO(c.at("id"));
        const auto& expected = c.at("expected");
        const auto matrix = [](const nlohmann::json& m) {
            return (Eigen::Matrix2d() << m[0][0].get<double>(), m[0][1].get<double>(), m[1][0].get<double>(),
                    m[1][1].get<double>())
                .finished();
        };
        const auto vector = [](const nlohmann::json& v) {
            return Eigen::Vector2d(v[0].get<double>(), v[1].get<double>());
        };
        const auto within = [](const Ellipse& e, const Eigen::Vector2d& off) {
            const double bearing_rad = radians(e.bearing_deg);
            const double along = off.x() * std::sin(bearing_rad) + off.y() * std::cos(bearing_rad);
            const double across = off.x() * std::cos(bearing_rad) - off.y() * std::sin(bearing_rad);
            return std::hypot(along / e.semi_major_m, across / e.semi_minor_m) <= 1;
        };
        const Eigen::Matrix2d own = matrix(expected.at("covariance_unbiased"));
        const Ellipse found = ellipse(own, 0.95);
        CHECK(found.semi_major_m == Approx(expected.at("ellipse_95").at("semi_major_m").get<double>()).epsilon(1e-10));
        CHECK(found.semi_minor_m == Approx(expected.at("ellipse_95").at("semi_minor_m").get<double>()).epsilon(1e-10));
        CHECK(found.bearing_deg ==
              Approx(expected.at("ellipse_95").at("major_axis_bearing_deg_from_north").get<double>()).margin(1e-8));
        const Eigen::Matrix2d population = matrix(c.at("inputs").at("population_covariance"));
        const Eigen::Vector2d own_mean = vector(expected.at("mean"));
        const Eigen::Vector2d population_mean = vector(c.at("inputs").at("population_mean"));
        int own_95 = 0, own_99 = 0, population_95 = 0;
        for (const auto& p : c.at("inputs").at("east_north_m")) {
            own_95 += within(found, vector(p) - own_mean);
            own_99 += within(ellipse(own, 0.99), vector(p) - own_mean);
            population_95 += within(ellipse(population, 0.95), vector(p) - population_mean);
        }
        CHECK(own_95 == expected.at("inside_own_95").get<int>());
        CHECK(own_99 == expected.at("inside_own_99").get<int>());
        CHECK(population_95 == expected.at("inside_population_95").get<int>());
    }
}

TEST_CASE("uncertain wind, release and parachute scatter landings as propagation of the errors says") {
    const Ground ground(kFlat);
    constexpr double kRho = 1.1, kMass_kg = 1.0;
    for (const auto& c : cases_of("dispersion.json", "propagation")) {
        INFO(c.at("id"));
        const auto& mean = c.at("inputs").at("mean");
        const auto& sd = c.at("inputs").at("sd");
        const RocketModel rocket = motorless(kMass_kg, 1, 0);
        FlightConditions conditions(rocket, kGravityStandard_mps2, ground);
        conditions.density_kg_m3.fill(kRho);
        std::mt19937_64 random(5);
        std::normal_distribution<double> normal;
#ifdef TURNSTONE_INSTRUMENTED // a hundred times slower
        constexpr int kBlocks = 60;
#else
        constexpr int kBlocks = 500;
#endif
        std::vector<Eigen::Vector2d> landings;
        for (int block = 0; block < kBlocks; ++block) {
            const auto b = under_parachute(0, 0);
            for (int k = 0; k < kLanes; ++k) {
                std::array<double, 6> drawn{}; // height, descent speed, wind speed, wind from, east, north
                for (std::size_t i = 0; i < 6; ++i)
                    drawn[i] = mean[i].get<double>() + sd[i].get<double>() * normal(random);
                const Eigen::Vector2d wind = air_velocity(drawn[2], drawn[3]);
                b->z_m(k) = drawn[0];
                b->parachute_m2[0](k) = 2 * kMass_kg * kGravityStandard_mps2 / (kRho * drawn[1] * drawn[1]);
                b->wind_east.row(k).setConstant(wind.x());
                b->wind_north.row(k).setConstant(wind.y());
                b->x_m(k) = drawn[4];
                b->y_m(k) = drawn[5];
                b->vx_mps(k) = wind.x();
                b->vy_mps(k) = wind.y();
                b->vz_mps(k) = -drawn[1];
            }
            descend(conditions, *b);
            for (int k = 0; k < kLanes; ++k) landings.emplace_back(b->landing_east_m(k), b->landing_north_m(k));
        }
        const auto n = static_cast<double>(landings.size());
        Eigen::Vector2d middle(0, 0);
        Eigen::Matrix2d spread = Eigen::Matrix2d::Zero();
        for (const auto& p : landings) middle += p / n;
        for (const auto& p : landings) spread += (p - middle) * (p - middle).transpose() / (n - 1);
        const auto& expected = c.at("expected");
        for (std::size_t i = 0; i < 2; ++i) { // four standard errors, as the file asks
            const double variance = expected.at("monte_carlo_covariance")[i][i];
            const auto axis = static_cast<Eigen::Index>(i);
            CHECK(std::abs(middle(axis) - expected.at("monte_carlo_mean")[i].get<double>()) <
                  4 * std::sqrt(variance / n));
            CHECK(std::abs(spread(axis, axis) - variance) < 4 * variance * std::sqrt(2 / n));
        }
    }
}
