/// Whole trajectories of the flight model against tests/reference/numerics: closed forms (Tsiolkovsky; the
/// parabola) and solve_ivp DOP853 at 1e-12. Tolerances are those the files give for RK4 with 1 ms (here 0.5
/// and 1 ms) steps.
#include <cmath>
#include <numbers>

#include "tests/sim/support.hpp"

using namespace turnstone;
using namespace turnstone::sim;

namespace {

Table table_of(const nlohmann::json& rows) {
    Table table;
    for (const nlohmann::json& row : rows) {
        table.x.push_back(row.at(0));
        table.y.push_back(row.at(1));
    }
    return table;
}

constexpr double kDegree_rad = std::numbers::pi / 180.0;

} // namespace

TEST_CASE("A six-degree flight agrees with the reference integration") {
    std::size_t rows_checked = 0;
    for (const nlohmann::json& entry : reference_cases("numerics/sixdof.json", "sixdof_flight")) {
        const nlohmann::json& in = entry.at("inputs");
        FlightSetup setup = point_mass(in.at("mass_dry_kg"), in.at("reference_area_m2"), in.at("cd"),
                                       Air::standard(in.at("pad_elevation_m")), {in.at("g_m_s2"), kForever_m});
        setup.mass_propellant_kg = in.at("propellant_kg");
        setup.thrust_n = table_of(in.at("thrust_table_s_N"));
        setup.rail_length_m = in.at("rail_length_m");
        setup.rail_tilt_rad = in.at("rail_tilt_deg").get<double>() * kDegree_rad;
        setup.rail_azimuth_rad = in.at("rail_azimuth_deg").get<double>() * kDegree_rad;
        setup.ignition_s = 0.0;
        setup.airframe.inertia_dry_kg_m2 = {in.at("Ix_dry_kg_m2"), in.at("Iyz_dry_kg_m2")};
        setup.airframe.inertia_propellant_kg_m2 = {in.at("Ix_prop_kg_m2"), in.at("Iyz_prop_kg_m2")};
        setup.airframe.normal_force_slope_per_rad = in.at("cn_alpha_per_rad");
        setup.airframe.static_margin_m = in.at("static_margin_m");
        setup.airframe.damping_length2_m2 = in.at("damping_length2_m2");
        setup.airframe.roll_damping_m2 = in.at("roll_Lp_coefficient_m2");
        setup.airframe.roll_cant_m = in.at("roll_cant_moment_coefficient_m");
        setup.wind =
            Wind({{0.0}, {in.at("wind_east_m_s")}}, {{0.0}, {in.at("wind_north_m_s")}}, 0.0, Random(0, "calm"));
        FlightModel model(setup);
        CHECK(distance(model.state().q_local_body, quaternion_of(in.at("q0_wxyz"))) < 1e-12);

        const nlohmann::json& expected = entry.at("expected");
        double greatest_m = expected.at("apogee_up_m");
        for (const nlohmann::json& row : expected.at("rows")) {
            (void)model.advance_to(row.at(0), 0.0005);
            INFO("t = " << row.at(0));
            const BodyState& state = model.state();
            CHECK((state.position_enu_m - vector_of(row, 1)).norm() < 1e-5 * greatest_m);
            CHECK((state.velocity_enu_mps - vector_of(row, 4)).norm() < 1e-5 * 70.0);
            CHECK(distance(state.q_local_body, quaternion_of(row, 7)) < 1e-4);
            CHECK((state.rate_body_radps - vector_of(row, 11)).norm() < 1e-4 * (1.0 + vector_of(row, 11).norm()));
            CHECK(state.propellant_kg == Approx(row.at(14).get<double>()).margin(1e-9));
            ++rows_checked;
        }
        (void)model.advance_to(9.0, 0.0005);
        CHECK(model.events().liftoff_s == Approx(expected.at("lift_off_s").get<double>()).margin(1e-9));
        CHECK(model.events().rail_exit_s == Approx(expected.at("rail_exit_s").get<double>()).epsilon(1e-6));
        CHECK(model.events().rail_exit_speed_mps ==
              Approx(expected.at("rail_exit_speed_m_s").get<double>()).epsilon(1e-6));
        CHECK(model.events().apogee_s == Approx(expected.at("apogee_s").get<double>()).epsilon(1e-5));
        CHECK(model.events().apogee_m == Approx(expected.at("apogee_up_m").get<double>()).epsilon(1e-5));
    }
    CHECK(rows_checked >= 15);
}

TEST_CASE("Powered vertical flight agrees with the reference integration") {
    std::size_t cases = 0;
    for (const nlohmann::json& entry : reference_cases("numerics/ballistic.json", "powered_vertical")) {
        INFO(entry.at("id"));
        const nlohmann::json& in = entry.at("inputs");
        FlightSetup setup = point_mass(in.at("mass_dry_kg"), in.at("area_m2"), 0.0,
                                       Air::standard(in.at("pad_elevation_m")), {9.80665, kForever_m});
        setup.drag_coefficient =
            in.at("cd").is_number() ? Table{{0.0}, {in.at("cd").get<double>()}} : table_of(in.at("cd"));
        setup.mass_propellant_kg = in.at("propellant_kg");
        setup.thrust_n = table_of(in.at("thrust_table_s_N"));
        setup.ignition_s = 0.0;
        FlightModel model(setup);
        const nlohmann::json& expected = entry.at("expected");
        // A drag table's corners are met by no step's end: the order is lower there.
        const double tolerance = in.at("cd").is_number() ? 1e-6 : 1e-5;
        for (const nlohmann::json& row : expected.at("rows")) {
            (void)model.advance_to(row.at(0), 0.001);
            CHECK(model.state().position_enu_m.z() == Approx(row.at(1).get<double>()).epsilon(tolerance));
            CHECK(model.state().velocity_enu_mps.z() == Approx(row.at(2).get<double>()).epsilon(tolerance));
        }
        (void)model.advance_to(expected.at("apogee_time_s").get<double>() + 0.1, 0.001);
        CHECK(model.events().liftoff_s == Approx(expected.at("lift_off_s").get<double>()).margin(1e-8));
        CHECK(model.events().burnout_s == Approx(expected.at("burn_out_s").get<double>()));
        CHECK(model.events().apogee_m == Approx(expected.at("apogee_above_pad_m").get<double>()).epsilon(tolerance));
        CHECK(model.events().apogee_s == Approx(expected.at("apogee_time_s").get<double>()).epsilon(tolerance));
        ++cases;
    }
    CHECK(cases == 6);
}

TEST_CASE("In a vacuum the rocket equation holds") {
    std::size_t cases = 0;
    for (const nlohmann::json& entry : reference_cases("numerics/ballistic.json", "powered_vacuum")) {
        INFO(entry.at("id"));
        const nlohmann::json& in = entry.at("inputs");
        const double burn_s = in.at("burn_time_s");
        const double thrust_n = in.at("thrust_N");
        const double propellant_kg = in.at("propellant_kg");
        FlightSetup setup = point_mass(in.at("mass_initial_kg").get<double>() - propellant_kg, 1e-12, 0.0,
                                       Air::standard(0.0), {in.at("g_m_s2"), kForever_m});
        setup.mass_propellant_kg = propellant_kg;
        setup.thrust_n = {{0.0, burn_s}, {thrust_n, thrust_n}};
        setup.ignition_s = 0.0;
        FlightModel model(setup);
        const nlohmann::json& expected = entry.at("expected");
        (void)model.advance_to(burn_s, 0.001);
        // Thrust begins and ends with a step inside the first and last stage: 1e-3 of an integration step is
        // lost.
        CHECK(model.state().velocity_enu_mps.z() ==
              Approx(expected.at("burn_out_speed_m_s").get<double>()).epsilon(5e-4));
        (void)model.advance_to(expected.at("apogee_time_s").get<double>() + 0.5, 0.001);
        CHECK(model.events().apogee_m == Approx(expected.at("apogee_height_m").get<double>()).epsilon(1e-3));
        ++cases;
    }
    CHECK(cases == 3);
}

TEST_CASE("Thrown bodies follow the parabola, and the drag trajectory in standard air") {
    std::size_t cases = 0;
    for (const char* kind : {"ballistic_no_drag", "ballistic_drag_isa"}) {
        for (const nlohmann::json& entry : reference_cases("numerics/ballistic.json", kind)) {
            INFO(entry.at("id"));
            const nlohmann::json& in = entry.at("inputs");
            const nlohmann::json& expected = entry.at("expected");
            const bool drag = in.contains("cd");
            const FlightSetup setup =
                point_mass(drag ? in.at("mass_kg").get<double>() : 1.0, drag ? in.at("area_m2").get<double>() : 1.0,
                           drag ? in.at("cd").get<double>() : 0.0,
                           Air::standard(drag ? in.at("pad_elevation_m").get<double>() : 0.0), {9.80665, kForever_m});
            const double elevation_rad = in.at("elevation_deg").get<double>() * kDegree_rad;
            BodyState state;
            state.velocity_enu_mps =
                in.at("v0_m_s").get<double>() * Eigen::Vector3d(std::cos(elevation_rad), 0.0, std::sin(elevation_rad));
            FlightModel model(setup, state);
            (void)model.advance_to(expected.at("flight_time_s").get<double>() + 1.0, 0.001);
            const double apogee_m = drag ? expected.at("apogee_above_pad_m") : expected.at("apogee_m");
            CHECK(model.events().apogee_m == Approx(apogee_m).epsilon(1e-6));
            CHECK(model.events().touchdown_s == Approx(expected.at("flight_time_s").get<double>()).epsilon(1e-6));
            CHECK(model.state().position_enu_m.x() == Approx(expected.at("range_m").get<double>()).epsilon(2e-4));
            if (drag) {
                CHECK(model.events().apogee_s == Approx(expected.at("apogee_time_s").get<double>()).epsilon(1e-6));
                CHECK(model.events().touchdown_speed_mps ==
                      Approx(expected.at("impact_speed_m_s").get<double>()).epsilon(1e-4));
            }
            ++cases;
        }
    }
    CHECK(cases == 6);
}

TEST_CASE("Drift under a parachute through layered wind agrees with the reference integration") {
    std::size_t cases = 0;
    for (const nlohmann::json& entry : reference_cases("numerics/ballistic.json", "drift_dynamic")) {
        INFO(entry.at("id"));
        const nlohmann::json& in = entry.at("inputs");
        const nlohmann::json& expected = entry.at("expected");
        FlightSetup setup = point_mass(in.at("mass_kg"), in.at("drag_area_cdS_m2"), 1.0,
                                       Air::standard(in.at("pad_elevation_m")), {in.at("g_m_s2"), kForever_m});
        Table east, north;
        for (const nlohmann::json& row : in.at("wind_table_height_speed_from_deg")) {
            const double speed = row.at(1);
            const double from_rad = row.at(2).get<double>() * kDegree_rad;
            east.x.push_back(row.at(0));
            east.y.push_back(-speed * std::sin(from_rad));
            north.x.push_back(row.at(0));
            north.y.push_back(-speed * std::cos(from_rad));
        }
        setup.wind = Wind(east, north, 0.0, Random(0, "calm"));
        BodyState state;
        state.position_enu_m.z() = in.at("start_height_m");
        state.velocity_enu_mps = vector_of(in.at("start_velocity_east_north_up_m_s"));
        FlightModel model(setup, state);
        (void)model.advance_to(expected.at("descent_time_s").get<double>() + 1.0, 0.001);
        CHECK(model.events().touchdown_s == Approx(expected.at("descent_time_s").get<double>()).epsilon(1e-6));
        CHECK(model.state().position_enu_m.x() == Approx(expected.at("drift_east_m").get<double>()).margin(0.01));
        CHECK(model.state().position_enu_m.y() == Approx(expected.at("drift_north_m").get<double>()).margin(0.01));
        ++cases;
    }
    CHECK(cases == 3);
}
