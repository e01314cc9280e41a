#include "server/estimate/chain/prediction_tables.hpp"

namespace turnstone {

EstimateTable ascent_table() {
    return {"ascent",
            "Predicted apogee",
            0.5,
            {{"apogee_m", "Predicted apogee above the pad, mean", "m", "Prediction", 0, {}, "apogee_m_sigma"},
             {"apogee_m_sigma", "1-sigma", "m", "", 1},
             {"apogee_low_m", "5 % of the flights stay below", "m", "Prediction", 0},
             {"apogee_high_m", "5 % of the flights go above", "m", "Prediction", 0},
             {"apogee_in_s", "Time to apogee, mean; on the pad from ignition", "s", "Prediction", 1},
             {"apogee_in_low_s", "5 % of the flights are earlier", "s", "", 1},
             {"apogee_in_high_s", "5 % of the flights are later", "s", "", 1},
             {"thrust_factor", "Thrust against the vehicle file's table", "1", "", 3, {}, "thrust_factor_sigma"},
             {"thrust_factor_sigma", "1-sigma", "1", "", 3},
             {"drag_factor",
              "Drag per mass against the vehicle file's, from this flight's coast",
              "1",
              "",
              3,
              {},
              "drag_factor_sigma"},
             {"drag_factor_sigma", "1-sigma", "1", "", 3}}};
}

EstimateTable landing_table() {
    EstimateTable table{"landing", "Predicted landing", 0.5, {}};
    struct Kind {
        const char* prefix;
        const char* words;
        const char* group;
    };
    for (const Kind& kind :
         {Kind{"nominal", "the parachutes that still can open as planned", "Prediction"},
          Kind{"first_shut", "the first parachute stays shut", ""}, Kind{"all_shut", "no parachute opens", ""}}) {
        const std::string p = kind.prefix;
        const std::string when = std::string(", when ") + kind.words;
        table.columns.push_back({p + "_east_m", "Mean landing point east of the pad" + when, "m", kind.group, 0});
        table.columns.push_back({p + "_north_m", "Mean landing point north of the pad" + when, "m", kind.group, 0});
        table.columns.push_back({p + "_latitude_deg", "Mean landing point, WGS 84" + when, "deg", "", 6});
        table.columns.push_back({p + "_longitude_deg", "Mean landing point, WGS 84" + when, "deg", "", 6});
        table.columns.push_back({p + "_semi_major_m", "95 % ellipse, longer half axis" + when, "m", kind.group, 0});
        table.columns.push_back({p + "_semi_minor_m", "95 % ellipse, shorter half axis" + when, "m", kind.group, 0});
        table.columns.push_back(
            {p + "_bearing_deg", "95 % ellipse, longer axis clockwise from true north" + when, "deg", "", 0});
        table.columns.push_back({p + "_in_s", "Mean time to landing" + when, "s", kind.group, 0});
        table.columns.push_back(
            {p + "_outside", "Share landing outside the boundary (advisory: the range safety officer decides)" + when,
             "1", kind.group, 3});
    }
    table.columns.push_back({"first_canopy_factor",
                             "First parachute's drag area against the vehicle file's",
                             "1",
                             "",
                             3,
                             {},
                             "first_canopy_factor_sigma"});
    table.columns.push_back({"first_canopy_factor_sigma", "1-sigma", "1", "", 3});
    table.columns.push_back({"second_canopy_factor",
                             "Second parachute's drag area against the vehicle file's",
                             "1",
                             "",
                             3,
                             {},
                             "second_canopy_factor_sigma"});
    table.columns.push_back({"second_canopy_factor_sigma", "1-sigma", "1", "", 3});
    for (const char* height : {"0", "300", "1000"}) {
        const std::string p = std::string("wind_") + height + "m";
        const std::string at = std::string(" at ") + height + " m above the pad, in use";
        table.columns.push_back({p + "_mps", "Wind" + at, "m/s", "Wind", 1, {}, p + "_mps_sigma"});
        table.columns.push_back({p + "_mps_sigma", "1-sigma of one component", "m/s", "", 1});
        table.columns.push_back({p + "_from_deg", "Direction the wind comes from" + at, "deg", "Wind", 0});
    }
    table.columns.push_back(
        {"terrain", "Ground the prediction lands on", "1", "Prediction", 0, {{0, "flat"}, {1, "height grid"}}});
    table.columns.push_back({"flights", "Flights in each case", "1", "", 0});
    table.columns.push_back({"seed", "Seed of the random numbers", "1", "", 0});
    return table;
}

} // namespace turnstone
