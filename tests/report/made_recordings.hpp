#pragma once
/// A flight, a ground test and a poll as the report's tests record them; with invented figures.
#include <cmath>
#include <numbers>
#include <string>

#include "tests/report/recording.hpp"

namespace turnstone::report_test {

/// What a hostile file or operator may have written.
inline const std::string kHostile = "\"'><script>alert(1)</script><b \x1b\xff\u202E&amp;" + std::string(150, 'W');

inline Column column(const std::string& name, const std::string& title, const std::string& unit, int decimals,
                     const std::string& role = "") {
    Column made{name, title, unit};
    made.decimals = decimals;
    made.role = role;
    return made;
}

/// A flight of 80 seconds: apogee 1107 m at T+14.9, main at T+50, down at T+75 114 m from the pad.
inline void add_flight(HandMade& made) {
    using enum EventId;
    constexpr double kLiftoff = 20;
    const auto at = [](double flight_s) { return kLiftoff + flight_s; };
    made.event(phase_began, 1, {{"phase", std::string("on the rail")}}, "on_the_rail");
    made.event(liftoff, at(0), {}, "", false, 0.02);
    const std::pair<const char*, double> phases[] = {
        {"under thrust", 0},    {"coasting", 1.85}, {"falling (no parachute)", 14.9},
        {"under drogue", 15.6}, {"under main", 50}, {"down", 75}};
    for (const auto& [word, t] : phases)
        made.event(phase_began, at(t), {{"phase", std::string(word)}}, word, false, 0.05);
    made.event(burnout, at(1.85), {}, "", false, 0.03);
    made.event(apogee, at(14.9), {}, "", false, 0.1);
    made.event(touchdown, at(75), {}, "", false, 0.4);
    made.event(heavy_loss, at(30), {{"loss", 0.4}, {"over_s", 10.0}, {"best_of_several", false}});
    made.event(heavy_loss, at(38), {}, "", true);
    made.event(marker, at(52), {{"text", std::string("main seen by eye")}});
    const auto altitude = [](double t) {
        if (t < 0) return 0.0;
        if (t < 14.9) return 1107 * (1 - std::pow(1 - t / 14.9, 2));
        if (t < 50) return 1107 - 26.5 * (t - 14.9);
        return std::max(0.0, 176 - 7.1 * (t - 50));
    };
    for (double t = -15; t < 80; t += 0.1) {
        made.row("sanderling/estimate/vertical", at(t),
                 {{"altitude_m", altitude(t)},
                  {"altitude_m_sigma", 2},
                  {"vertical_speed_mps", (altitude(t + 0.1) - altitude(t)) * 10},
                  {"vertical_speed_mps_sigma", 1.5},
                  {"acceleration_mps2", t < 0 ? 0 : -9.8},
                  {"acceleration_mps2_sigma", 0.4}});
        made.row("sanderling/estimate/navigation", at(t),
                 {{"east_m", t < 0 ? 0 : 1.366 * std::min(t, 75.0)},
                  {"east_m_sigma", 1},
                  {"north_m", t < 0 ? 0 : -0.667 * std::min(t, 75.0)},
                  {"north_m_sigma", 1},
                  {"latitude_deg", -21.3851},
                  {"longitude_deg", 23.1762},
                  {"tilt_deg", t < 0 ? 4 : 4 + t},
                  {"tilt_deg_sigma", 0.8},
                  {"mode", 2}});
    }
    for (double t = -15; t < 80; ++t) {
        const bool gap = t > 31 && t < 36;
        made.row("link/radio", at(t),
                 {{"bytes", 4000 * (t + 15)},
                  {"frames_good", 60 * (t + 15)},
                  {"frames_bad", 3},
                  {"received", 60 * (t + 15)},
                  {"lost", t > 36 ? 240.0 : 0.0},
                  {"duplicates", 0},
                  {"age_s", gap ? t - 31 : 0.02}});
        if (t < 0 || t > 3) continue;
    }
    made.row("sanderling/estimate/ascent", at(-3), {{"apogee_m", 1085}, {"apogee_m_sigma", 45}});
    made.row("sanderling/estimate/ascent", at(3.5), {{"apogee_m", 1112}, {"apogee_m_sigma", 9}});
    for (const double t : {-3.0, 16.0, 51.0})
        made.row("sanderling/estimate/landing", at(t),
                 {{"nominal_east_m", 140},
                  {"nominal_north_m", -20},
                  {"nominal_semi_major_m", t < 0 ? 230 : 60},
                  {"nominal_semi_minor_m", t < 0 ? 120 : 30},
                  {"nominal_bearing_deg", 75},
                  {"nominal_probability", 0.9},
                  {"likeliest", 0}});
    made.row("sanderling/estimate/derived", at(79),
             {{"altitude_max_m", 1107.3},
              {"altitude_max_m_sigma", 2.1},
              {"altitude_max_t_s", 14.9},
              {"vertical_speed_max_mps", 166.4},
              {"vertical_speed_max_mps_sigma", 1.7},
              {"vertical_speed_max_t_s", 1.8},
              {"burn_time_s", 1.85},
              {"time_to_apogee_s", 14.9},
              {"drogue_rate_mps", 26.5},
              {"main_rate_mps", 7.1},
              {"flight_time_s", 75}});
}

inline std::string separation_procedure(const std::string& title, const std::string& text) {
    return nlohmann::json{
        {"title", title},
        {"checks",
         {{{"id", "battery"},
           {"title", "Battery, least"},
           {"why", text},
           {"value", {{"table", "health"}, {"column", "battery_voltage"}}},
           {"measure", "least"},
           {"over_s", 5},
           {"least", 7.4}},
          {{"id", "pulse"},
           {"title", "Pulse"},
           {"why", "Too little leaves the lid on in the cold"},
           {"value", {{"table", "charge/drogue"}, {"column", "pulse_peak"}}},
           {"least", 2000}},
          {{"id", "level"},
           {"title", "Level"},
           {"why", "A tilted stand reads as a bias"},
           {"value", {{"table", "imu.samples"}, {"column", "accel_body_y"}}},
           {"measure", "mean"},
           {"over_s", 2},
           {"within", 0.25}},
          {{"id", "clear"}, {"title", "Range clear"}, {"statement", true}}}},
        {"steps",
         {{{"id", "clear_range"},
           {"kind", "check"},
           {"title", "Range clear, tether set"},
           {"text", text},
           {"checks", {"clear"}}},
          {{"id", "arm"},
           {"kind", "instruct"},
           {"title", "Arm, by hand at the stand"},
           {"caution", "The charge is live from here on. Stand to the side; eye and ear protection."}},
          {{"id", "fire"},
           {"kind", "check"},
           {"title", "Drogue charge"},
           {"checks", {"battery", "level", "pulse"}},
           {"text", "Fired by the wired box, not by this program."}},
          {{"id", "photograph"}, {"kind", "instruct"}, {"title", "Photograph the lid and the line"}}}}}
        .dump();
}

inline void add_charge_tables(HandMade& made) {
    const auto with_sigma = [](std::vector<Column>& columns, Column made_column) {
        made_column.sigma_column = made_column.name + "_sigma";
        Column sigma = column(made_column.name + "_sigma", made_column.title + ", 1-sigma", made_column.unit,
                              made_column.decimals);
        columns.push_back(std::move(made_column));
        columns.push_back(std::move(sigma));
    };
    std::vector<Column> columns;
    with_sigma(columns, column("lid_off", "Lid off", "s", 4));
    with_sigma(columns, column("pulse_peak", "Pressure pulse", "Pa", 0));
    with_sigma(columns, column("shock", "Shock", "m/s2", 0));
    with_sigma(columns, column("turn_rate", "Turn rate", "deg/s", 0));
    with_sigma(columns, column("battery_least", "Battery, least", "V", 2));
    columns.push_back(column("readings_missed", "Readings missed", "1", 0));
    columns.push_back(column("lid_off_seen", "Lid off seen", "1", 0));
    columns.push_back(column("settled_seen", "Settled seen", "1", 0));
    columns.back().enumeration = {{0, "no"}, {1, "yes"}};
    columns.push_back(column("barometer_state", "Barometer afterwards", "1", 0));
    columns.back().enumeration = {{0, "well"}, {1, "dead"}};
    with_sigma(columns, column("barometer_offset", "Barometer, after − before", "Pa", 0));
    columns.push_back(column("in_flight", "Fired in flight", "1", 0));
    columns.push_back(column("accel_least_across", "Accelerometer: least offset across gravity", "m/s2", 2));
    columns.push_back(column("barometer_shift_p", "Barometer: p of the shift", "1", 3));
    if (!made.has_table("sanderling/charge/drogue"))
        made.add_table("sanderling/charge/drogue", TableKind::estimate, 0, columns);
    if (!made.has_table("sanderling/burst.samples"))
        made.add_table("sanderling/burst.samples", TableKind::batch, 0.001,
                       {column("axial_acceleration", "Acceleration, long axis", "m/s2", 1, "charge_accel_x"),
                        column("bay_pressure", "Bay pressure", "Pa", 0, "charge_bay_pressure"),
                        column("turn_rate", "Turn rate", "rad/s", 3, "charge_turn_rate"),
                        column("battery", "Battery", "V", 2, "charge_battery")});
}

/// A run of the procedure with one charge, which took the lid off after `lid_off_s`. `side`: -1: with the shock and the
/// turn the other way.
inline void add_ground_test(HandMade& made, double number, double lid_off_s, const std::string& by = "R. M.",
                            double side = 1) {
    using enum EventId;
    add_charge_tables(made);
    constexpr double kFired = 30;
    const auto step = [&](EventId id, double t_s, const char* which, const std::string& note = "") {
        made.event(id, t_s,
                   {{"procedure", std::string("separation-test")},
                    {"step", std::string(which)},
                    {"title", std::string(which)},
                    {"by", by},
                    {"note", note}},
                   "separation-test");
    };
    made.event(procedure_begun, 2,
               {{"procedure", std::string("separation-test")},
                {"title", std::string("Tethered separation test")},
                {"by", by},
                {"run", number}},
               "separation-test");
    made.event(statement, 4,
               {{"procedure", std::string("separation-test")},
                {"check", std::string("clear")},
                {"title", std::string("Range clear")},
                {"holds", true},
                {"by", by},
                {"note", std::string()}},
               "clear");
    step(step_done, 5, "clear_range");
    step(step_repeated, 6, "clear_range");
    step(step_done, 9, "clear_range");
    step(step_done, 15, "arm");
    made.event(charge_fired, kFired, {{"charge", std::string("drogue")}}, "drogue");
    const std::tuple<const char*, double, double> edges[] = {{"pulse_begins", 0.0019, 0.0003},
                                                             {"lid_off", lid_off_s, 0.0005},
                                                             {"line_taut", lid_off_s + 0.012, 0.0008},
                                                             {"settled", 0.096, 0.004}};
    for (const auto& [edge, after_s, sigma_s] : edges)
        made.event(edge_found, kFired,
                   {{"charge", std::string("drogue")},
                    {"edge", std::string(edge)},
                    {"after_s", after_s},
                    {"sigma_s", sigma_s}},
                   "drogue");
    for (int ms = -50; ms < 250; ++ms) {
        const double t = 1e-3 * ms;
        const double since = t - lid_off_s;
        const double pulse =
            t < 0.002 ? 0 : 3000 * (1 - std::exp(-(t - 0.002) / 0.002)) * std::exp(-(t - 0.002) / 0.02);
        made.row("sanderling/burst.samples", kFired + t,
                 {{"axial_acceleration",
                   9.8 + (since < 0 || since > 0.2
                              ? 0
                              : side * 130 * std::exp(-since / 0.012) * std::cos(2 * std::numbers::pi * since / 0.02))},
                  {"bay_pressure", 90420 + pulse},
                  {"turn_rate", since < 0 ? 0 : side * 4 * std::exp(-since / 0.05)},
                  {"battery", t < 0 || t > 0.01 ? 8.2 : 7.78}});
    }
    made.row("sanderling/charge/drogue", kFired,
             {{"lid_off", lid_off_s},
              {"lid_off_sigma", 0.0005},
              {"pulse_peak", 3012},
              {"pulse_peak_sigma", 40},
              {"shock", 133.2},
              {"shock_sigma", 2},
              {"turn_rate", 229},
              {"turn_rate_sigma", 1},
              {"battery_least", 7.78},
              {"battery_least_sigma", 0.01},
              {"readings_missed", 0},
              {"lid_off_seen", 1},
              {"settled_seen", 0},
              {"in_flight", 0},
              {"accel_least_across", 1.26},
              {"barometer_state", 0},
              {"barometer_offset", 2.3},
              {"barometer_offset_sigma", 1.6},
              {"barometer_shift_p", 0.42}});
    const auto decided = [&](const char* check, double measured, double margin, const std::string& state,
                             const char* unit) {
        made.event(check_decided, kFired + 8,
                   {{"procedure", std::string("separation-test")},
                    {"check", std::string(check)},
                    {"title", std::string(check)},
                    {"state", state},
                    {"measured", measured},
                    {"margin", margin},
                    {"unit", std::string(unit)}},
                   check);
    };
    decided("battery", 7.78, 0.38, "holds", "V");
    decided("pulse", 3012, 1012, "holds", "Pa");
    decided("level", 0.31, -0.06, "fails", "m/s2");
    step(step_done, kFired + 8, "fire");
    step(step_waived, kFired + 20, "photograph", "camera battery empty");
    made.event(procedure_ended, kFired + 25,
               {{"procedure", std::string("separation-test")},
                {"title", std::string("Tethered separation test")},
                {"by", by},
                {"verdict", std::string("failed")}},
               "separation-test");
    for (double t = 1; t < 60; ++t)
        made.row("link/radio", t,
                 {{"bytes", 4000 * t},
                  {"received", 60 * t},
                  {"lost", 0},
                  {"duplicates", 0},
                  {"frames_bad", 0},
                  {"age_s", 0.02}});
}

inline std::string readiness_board(const std::string& title) {
    return nlohmann::json{
        {"groups",
         {{{"title", title},
           {"checks",
            {{{"id", "wind_gust"},
              {"title", "Wind, gust"},
              {"why", "The safety code has a limit"},
              {"entered", "wind_gust_mps"},
              {"most", 8.9},
              {"no_older_than_s", 900}}}}}}},
        {"positions", {{{"id", "weather"}, {"title", "Weather"}}, {{"id", "safety"}, {"title", "Range safety"}}}}}
        .dump();
}

inline void add_poll(HandMade& made, const std::string& by = "K. L.") {
    using enum EventId;
    const auto position = [](const char* id, const char* title) {
        return EventValues{{"position", std::string(id)}, {"title", std::string(title)}};
    };
    const auto answer = [&](const char* id, const char* title, bool go, const std::string& note) {
        EventValues values = position(id, title);
        values.push_back({"go", go});
        values.push_back({"by", by});
        values.push_back({"note", note});
        return values;
    };
    made.event(entered, 5,
               {{"name", std::string("wind_gust_mps")}, {"value", 9.4}, {"unit", std::string("m/s")}, {"by", by}},
               "wind_gust_mps");
    made.event(poll_asked, 10, position("safety", "Range safety"), "safety");
    made.event(poll_answered, 12, answer("safety", "Range safety", true, ""), "safety");
    made.event(poll_asked, 14, position("weather", "Weather"), "weather");
    made.event(poll_answered, 20, answer("weather", "Weather", false, "gusts"), "weather");
    made.event(not_ready, 21, {{"reasons", std::vector<std::string>{"Wind, gust fails", "Weather says no go"}}});
    made.row("sanderling/readiness", 21,
             {{"wind_gust", 9.4}, {"wind_gust_margin", -0.5}, {"wind_gust_state", 2}, {"ready", 0}});
}

} // namespace turnstone::report_test
