// Every table of the chain, filled from a source in which each quantity has a value of its own: each column holds the
// quantity of its name, east is not north, low is not high, and no column is left out.
#include <string>

#include <catch2/catch.hpp>

#include "server/estimate/chain/derived.hpp"
#include "server/estimate/chain/flight_report.hpp"
#include "server/estimate/chain/navigation_report.hpp"
#include "server/estimate/chain/onboard_report.hpp"
#include "server/estimate/chain/prediction_report.hpp"
#include "server/estimate/math/angles.hpp"
#include "server/estimate/sensors/engine_hours.hpp"
#include "tests/support/columns.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using namespace turnstone::test;

namespace {

double rad(double deg) {
    return radians(deg);
}

Maximum maximum(double value) {
    return {value, value + 0.25, value + 0.5};
}

} // namespace

TEST_CASE("columns of air data hold their quantities") {
    AirPicture air{};
    air.heights = {.pressure_altitude_m = 1,
                   .geopotential_above_pad_m = 2,
                   .above_pad_m = 3,
                   .above_pad_sigma_m = 4,
                   .above_pad_noise_m = 5,
                   .above_pad_slow_m = 1,
                   .msl_m = 6,
                   .temperature_k = 7,
                   .temperature_sigma_k = 8,
                   .density_kg_m3 = 9,
                   .speed_of_sound_mps = 10};
    air.speeds = {.mach = 11, .mach_sigma = 12, .dynamic_pressure_pa = 13, .dynamic_pressure_sigma_pa = 14};
    air.altitude_sigma_m = 15;
    check_columns(air_table(), air,
                  {{"altitude_m", 3},
                   {"altitude_m_sigma", 15},
                   {"altitude_msl_m", 6},
                   {"pressure_altitude_m", 1},
                   {"temperature_k", 7},
                   {"temperature_k_sigma", 8},
                   {"density_kg_m3", 9},
                   {"speed_of_sound_mps", 10},
                   {"mach", 11},
                   {"mach_sigma", 12},
                   {"dynamic_pressure_pa", 13},
                   {"dynamic_pressure_pa_sigma", 14}});
}

TEST_CASE("columns of vertical motion, phase and engine hold their quantities") {
    VerticalEstimate vertical;
    vertical.inertial = true; // 1
    vertical.altitude_m = 2;
    vertical.altitude_sigma_m = 3;
    vertical.vertical_speed_mps = 4;
    vertical.vertical_speed_sigma_mps = 5;
    vertical.acceleration_mps2 = 6;
    vertical.acceleration_sigma_mps2 = 7;
    vertical.accel_bias_mps2 = 8;
    vertical.accel_bias_sigma_mps2 = 9;
    vertical.nis = 10;
    vertical.nis_mean = 11;
    vertical.health = Health{};
    check_columns(vertical_table(), vertical,
                  {{"altitude_m", 2},
                   {"altitude_m_sigma", 3},
                   {"vertical_speed_mps", 4},
                   {"vertical_speed_mps_sigma", 5},
                   {"acceleration_mps2", 6},
                   {"acceleration_mps2_sigma", 7},
                   {"accel_bias_mps2", 8},
                   {"accel_bias_mps2_sigma", 9},
                   {"inertial", 1},
                   {"nis", 10},
                   {"nis_mean", 11},
                   {"health", 0}});
    check_columns(
        phase_table(), PhaseFigures{Phase::under_drogue, 20, 30},
        {{"phase", static_cast<double>(Phase::under_drogue)}, {"time_in_phase_s", 20}, {"time_since_liftoff_s", 30}});
    check_columns(engine_table(), EngineFigures{1, 2, {3, 4}, {5, 6}},
                  {{"running", 1},
                   {"running_time_h", 2},
                   {"temperature_rate_k_per_s", 3},
                   {"temperature_rate_k_per_s_sigma", 4},
                   {"oil_pressure_rate_pa_per_s", 5},
                   {"oil_pressure_rate_pa_per_s_sigma", 6}});
}

TEST_CASE("columns of a flight's figures hold their quantities") {
    const DerivedFigures figures{.altitude_m = maximum(10),
                                 .vertical_speed_mps = maximum(20),
                                 .mach = maximum(30),
                                 .force_mps2 = maximum(40),
                                 .dynamic_pressure_pa = maximum(50),
                                 .roll_rate_radps = maximum(60),
                                 .burn_time_s = 7,
                                 .speed_gained_mps = 80,
                                 .time_to_apogee_s = 9,
                                 .drogue_rate_mps = 11,
                                 .main_rate_mps = 12,
                                 .flight_time_s = 13,
                                 .ground_distance_m = 14};
    check_columns(derived_table(), figures,
                  {{"altitude_max_m", 10},
                   {"altitude_max_m_sigma", 10.25},
                   {"altitude_max_t_s", 10.5},
                   {"vertical_speed_max_mps", 20},
                   {"vertical_speed_max_mps_sigma", 20.25},
                   {"vertical_speed_max_t_s", 20.5},
                   {"mach_max", 30},
                   {"mach_max_sigma", 30.25},
                   {"mach_max_t_s", 30.5},
                   {"force_max_mps2", 40},
                   {"force_max_mps2_sigma", 40.25},
                   {"force_max_t_s", 40.5},
                   {"dynamic_pressure_max_pa", 50},
                   {"dynamic_pressure_max_pa_sigma", 50.25},
                   {"dynamic_pressure_max_t_s", 50.5},
                   {"roll_rate_max_radps", 60},
                   {"roll_rate_max_radps_sigma", 60.25},
                   {"roll_rate_max_t_s", 60.5},
                   {"burn_time_s", 7},
                   {"speed_gained_mps", 80},
                   {"net_acceleration_mps2", 80.0 / 7},
                   {"time_to_apogee_s", 9},
                   {"drogue_rate_mps", 11},
                   {"main_rate_mps", 12},
                   {"flight_time_s", 13},
                   {"ground_distance_m", 14}});
}

TEST_CASE("columns of navigation hold their quantities") {
    NavigationFigures figures;
    NavigationEstimate& e = figures.estimate;
    e.mode = NavigationMode::lost; // 4
    e.valid = true;
    e.position_enu_m = {11, 12, 13};
    e.position_sigma_m = {14, 15, 16};
    e.velocity_enu_mps = {21, 22, 23};
    e.velocity_sigma_mps = {24, 25, 26};
    e.q_local_body = {0.31, 0.32, 0.33, 0.34};
    e.attitude_sigma_rad = {rad(35), rad(36), rad(37)};
    e.rate_body_radps = {rad(41), rad(42), rad(43)};
    e.accel_bias_mps2 = {44, 45, 46};
    e.gyro_bias_radps = {rad(47), rad(48), rad(49)};
    e.tilt_rad = rad(51);
    e.tilt_sigma_rad = rad(52);
    e.tilt_heading_rad = rad(53);
    e.roll_rad = rad(54);
    e.roll_rate_radps = rad(41);
    e.roll_rate_sigma_radps = rad(55);
    e.roll_acceleration_radps2 = rad(56);
    e.roll_acceleration_sigma_radps2 = rad(57);
    e.nis_fix_mean = 61;
    e.nis_height_mean = 62;
    e.health_fix = static_cast<Health>(1);
    e.health_height = static_cast<Health>(2);
    e.rejected_fixes = 63;
    e.rejected_heights = 64;
    e.hypotheses = 65;
    figures.geodetic = {71, 72, 73};
    figures.altitude_msl_m = 74;
    figures.flow = {.angle_of_attack_rad = rad(81),
                    .angle_of_attack_sigma_rad = rad(82),
                    .sideslip_rad = rad(83),
                    .sideslip_sigma_rad = rad(84),
                    .total_rad = rad(85),
                    .total_sigma_rad = rad(86),
                    .dynamic_pressure_pa = 87,
                    .load_pa_rad = rad(88),
                    .load_sigma_pa_rad = rad(89)};
    check_columns(navigation_table(), figures,
                  {{"mode", 4},
                   {"east_m", 11},
                   {"east_m_sigma", 14},
                   {"north_m", 12},
                   {"north_m_sigma", 15},
                   {"up_m", 13},
                   {"up_m_sigma", 16},
                   {"latitude_deg", 71},
                   {"longitude_deg", 72},
                   {"height_m", 73},
                   {"altitude_msl_m", 74},
                   {"velocity_east_mps", 21},
                   {"velocity_east_mps_sigma", 24},
                   {"velocity_north_mps", 22},
                   {"velocity_north_mps_sigma", 25},
                   {"velocity_up_mps", 23},
                   {"velocity_up_mps_sigma", 26},
                   {"q_w", 0.31},
                   {"q_x", 0.32},
                   {"q_y", 0.33},
                   {"q_z", 0.34},
                   {"attitude_x_deg_sigma", 35},
                   {"attitude_y_deg_sigma", 36},
                   {"attitude_z_deg_sigma", 37},
                   {"tilt_deg", 51},
                   {"tilt_deg_sigma", 52},
                   {"tilt_heading_deg", 53},
                   {"roll_deg", 54},
                   {"rate_x_degps", 41},
                   {"rate_x_degps_sigma", 55},
                   {"roll_acceleration_degps2", 56},
                   {"roll_acceleration_degps2_sigma", 57},
                   {"rate_y_degps", 42},
                   {"rate_z_degps", 43},
                   {"angle_of_attack_deg", 81},
                   {"angle_of_attack_deg_sigma", 82},
                   {"sideslip_deg", 83},
                   {"sideslip_deg_sigma", 84},
                   {"total_angle_of_attack_deg", 85},
                   {"total_angle_of_attack_deg_sigma", 86},
                   {"q_alpha_pa_deg", 88},
                   {"q_alpha_pa_deg_sigma", 89},
                   {"accel_bias_x_mps2", 44},
                   {"accel_bias_y_mps2", 45},
                   {"accel_bias_z_mps2", 46},
                   {"gyro_bias_x_degps", 47},
                   {"gyro_bias_y_degps", 48},
                   {"gyro_bias_z_degps", 49},
                   {"hypotheses", 65},
                   {"fix_nis", 61},
                   {"fix_health", 1},
                   {"height_nis", 62},
                   {"height_health", 2},
                   {"rejected_fixes", 63},
                   {"rejected_heights", 64}});
}

TEST_CASE("columns of look angles and of the on-board comparison hold their quantities") {
    const LookAngles look{.azimuth_true_rad = rad(1),
                          .azimuth_magnetic_rad = rad(2),
                          .elevation_rad = rad(3),
                          .slant_range_m = 4,
                          .range_rate_mps = 5,
                          .azimuth_sigma_rad = rad(6),
                          .elevation_sigma_rad = rad(7),
                          .slant_range_sigma_m = 8,
                          .pointing_error_half_beams = 9};
    check_columns(look_angles_table(), look,
                  {{"azimuth_deg", 1},
                   {"azimuth_deg_sigma", 6},
                   {"azimuth_magnetic_deg", 2},
                   {"elevation_deg", 3},
                   {"elevation_deg_sigma", 7},
                   {"slant_range_m", 4},
                   {"slant_range_m_sigma", 8},
                   {"range_rate_mps", 5},
                   {"pointing_half_beams", 9}});
    OnboardComparison comparison;
    using enum OnboardComparison::Quantity;
    comparison.of[kAltitude] = {1, 2, static_cast<Agreement>(21)};
    comparison.of[kVerticalSpeed] = {3, 4, static_cast<Agreement>(22)};
    comparison.of[kSpeed] = {5, 6, static_cast<Agreement>(23)};
    comparison.of[kAttitude] = {rad(7), rad(8), static_cast<Agreement>(24)};
    comparison.of[kLongAxis] = {rad(9), rad(10), static_cast<Agreement>(25)};
    check_columns(onboard_comparison_table(), comparison,
                  {{"altitude_m", 1},
                   {"altitude_m_sigma", 2},
                   {"altitude_verdict", 21},
                   {"vertical_speed_mps", 3},
                   {"vertical_speed_mps_sigma", 4},
                   {"vertical_speed_verdict", 22},
                   {"speed_mps", 5},
                   {"speed_mps_sigma", 6},
                   {"speed_verdict", 23},
                   {"attitude_deg", 7},
                   {"attitude_deg_sigma", 8},
                   {"attitude_verdict", 24},
                   {"long_axis_deg", 9},
                   {"long_axis_deg_sigma", 10},
                   {"long_axis_verdict", 25}});
}

TEST_CASE("columns of predictions hold their quantities, case by case") {
    Prediction prediction{};
    prediction.apogee_m = 1;
    prediction.apogee_sigma_m = 2;
    prediction.apogee_low_m = 3;
    prediction.apogee_high_m = 4;
    prediction.apogee_in_s = 5;
    prediction.apogee_in_low_s = 6;
    prediction.apogee_in_high_s = 7;
    prediction.likeliest = LandingCaseKind::main_fails;
    prediction.outside = 16;
    Site site{};
    site.pad = {40.0, -117.0, 1000.0};
    const WindProfile wind = [&] {
        WindProfile out(site);
        out.measure(0.0, {-3.0, 0.0}, 0.5); // from the east
        out.measure(1000.0, {0.0, 9.0}, 2.0);
        return out;
    }();
    PredictionFigures figures{.prediction = prediction,
                              .thrust = {8, 9},
                              .drag = {10, 11},
                              .parachutes = {Factor{12, 13}, Factor{14, 15}},
                              .wind = wind,
                              .flat_ground = false, // 1
                              .cases = {}};
    check_columns(ascent_table(), figures,
                  {{"apogee_m", 1},
                   {"apogee_m_sigma", 2},
                   {"apogee_low_m", 3},
                   {"apogee_high_m", 4},
                   {"apogee_in_s", 5},
                   {"apogee_in_low_s", 6},
                   {"apogee_in_high_s", 7},
                   {"thrust_factor", 8},
                   {"thrust_factor_sigma", 9},
                   {"drag_factor", 10},
                   {"drag_factor_sigma", 11}});

    ExpectedColumns expected{{"first_parachute_factor", 12},
                             {"first_parachute_factor_sigma", 13},
                             {"second_parachute_factor", 14},
                             {"second_parachute_factor_sigma", 15},
                             {"likeliest", static_cast<double>(LandingCaseKind::main_fails)},
                             {"outside", 16},
                             {"terrain", 1},
                             {"flights", Predictor::kFlights},
                             {"seed", static_cast<double>(Predictor::kSeed)}};
    double base = 0;
    for (const std::string stem :
         {"nominal", "late_opening", "drogue_fails", "main_fails", "main_at_apogee", "no_parachute"}) {
        const auto kind = static_cast<LandingCaseKind>(base / 100);
        base += 100;
        figures.cases[kind] = CaseFigures{.landing = {.probability = base + 11,
                                                      .mean_m = {base + 1, base + 2},
                                                      .covariance_m2 = {},
                                                      .outside = base + 3,
                                                      .time_s = base + 4},
                                          .place = {base + 5, base + 6, base + 7},
                                          .ellipse = {base + 8, base + 9, base + 10}};
        expected.insert({{stem + "_east_m", base + 1},
                         {stem + "_north_m", base + 2},
                         {stem + "_outside", base + 3},
                         {stem + "_in_s", base + 4},
                         {stem + "_latitude_deg", base + 5},
                         {stem + "_longitude_deg", base + 6},
                         {stem + "_semi_major_m", base + 8},
                         {stem + "_semi_minor_m", base + 9},
                         {stem + "_bearing_deg", base + 10},
                         {stem + "_probability", base + 11}});
    }
    for (const int height_m : {0, 300, 1000}) {
        const std::string name = "wind_" + std::to_string(height_m) + "m_";
        const Eigen::Vector2d air_mps = wind.at(height_m);
        expected[name + "mps"] = air_mps.norm();
        expected[name + "mps_sigma"] = wind.sigma_mps(height_m);
        expected[name + "from_deg"] = bearing_deg(-air_mps.x(), -air_mps.y());
    }
    check_columns(landing_table(), figures, expected);
    const auto from_deg = [&](double height_m) { return bearing_deg(-wind.at(height_m).x(), -wind.at(height_m).y()); };
    CHECK(from_deg(0.0) > 45.0);     // more from the east than from the north
    CHECK(from_deg(1000.0) > 135.0); // more from the south than from the east
}
