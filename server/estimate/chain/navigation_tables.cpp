#include "server/estimate/chain/navigation_tables.hpp"

#include <map>

namespace turnstone {

namespace {

const std::map<std::int64_t, std::string> kHealthWords{
    {0, "starting"}, {1, "consistent"}, {2, "cautious"}, {3, "overconfident"}};

} // namespace

EstimateTable navigation_table() {
    return {
        "navigation",
        "Navigation",
        0.04,
        {{"mode",
          "What navigation runs on",
          "1",
          "Navigation",
          0,
          {{0, "aligning"}, {1, "on the pad"}, {2, "aided"}, {3, "dead reckoning"}, {4, "lost"}, {5, "vertical only"}}},
         {"east_m", "Position east of the pad", "m", "Navigation", 1, {}, "east_m_sigma"},
         {"north_m", "Position north of the pad", "m", "Navigation", 1, {}, "north_m_sigma"},
         {"up_m", "Height above the pad", "m", "Navigation", 1, {}, "up_m_sigma"},
         {"east_m_sigma", "1-sigma", "m", "", 1},
         {"north_m_sigma", "1-sigma", "m", "", 1},
         {"up_m_sigma", "1-sigma", "m", "", 1},
         {"latitude_deg", "Latitude, WGS 84", "deg", "", 7},
         {"longitude_deg", "Longitude, WGS 84", "deg", "", 7},
         {"height_m", "Height above the WGS 84 ellipsoid", "m", "", 1, {}, "up_m_sigma"},
         {"velocity_east_mps", "Velocity east", "m/s", "Navigation", 1, {}, "velocity_east_mps_sigma"},
         {"velocity_north_mps", "Velocity north", "m/s", "Navigation", 1, {}, "velocity_north_mps_sigma"},
         {"velocity_up_mps", "Velocity up", "m/s", "Navigation", 1, {}, "velocity_up_mps_sigma"},
         {"velocity_east_mps_sigma", "1-sigma", "m/s", "", 2},
         {"velocity_north_mps_sigma", "1-sigma", "m/s", "", 2},
         {"velocity_up_mps_sigma", "1-sigma", "m/s", "", 2},
         {"q_w", "Attitude, body to local, Hamilton quaternion", "1", "", 4},
         {"q_x", "Attitude, body to local", "1", "", 4},
         {"q_y", "Attitude, body to local", "1", "", 4},
         {"q_z", "Attitude, body to local", "1", "", 4},
         {"attitude_x_deg_sigma", "1-sigma of attitude about body x", "deg", "", 1},
         {"attitude_y_deg_sigma", "1-sigma of attitude about body y", "deg", "", 1},
         {"attitude_z_deg_sigma", "1-sigma of attitude about body z", "deg", "", 1},
         {"tilt_deg", "Long axis from vertical", "deg", "Attitude", 1, {}, "tilt_deg_sigma"},
         {"tilt_deg_sigma", "1-sigma", "deg", "", 1},
         {"tilt_heading_deg", "Azimuth the nose leans to, clockwise from true north", "deg", "Attitude", 0},
         {"roll_deg", "Turned about the long axis since alignment, not wrapped", "deg", "Attitude", 0},
         {"rate_x_deg_s", "Roll rate, bias removed", "deg/s", "Attitude", 0},
         {"rate_y_deg_s", "Rate about body y, bias removed", "deg/s", "", 1},
         {"rate_z_deg_s", "Rate about body z, bias removed", "deg/s", "", 1},
         {"angle_of_attack_deg", "Of the air's flow, in the body x-z plane; above 5 m/s, when the wind is known", "deg",
          "Attitude", 1},
         {"sideslip_deg", "Of the air's flow, out of the body x-z plane; above 5 m/s, when the wind is known", "deg",
          "Attitude", 1},
         {"accel_bias_x_mps2", "Accelerometer bias, body x", "m/s2", "", 3},
         {"accel_bias_y_mps2", "Accelerometer bias, body y", "m/s2", "", 3},
         {"accel_bias_z_mps2", "Accelerometer bias, body z", "m/s2", "", 3},
         {"gyro_bias_x_deg_s", "Gyro bias, body x", "deg/s", "", 3},
         {"gyro_bias_y_deg_s", "Gyro bias, body y", "deg/s", "", 3},
         {"gyro_bias_z_deg_s", "Gyro bias, body z", "deg/s", "", 3},
         {"hypotheses", "Alignments still flown side by side", "1", "", 0},
         {"fix_nis", "Normalised innovation squared of fixes per degree of freedom, mean of 50; 1 is right", "1", "",
          2},
         {"fix_health", "Fixes against the filter's own 1-sigma", "1", "Navigation", 0, kHealthWords},
         {"height_nis", "Normalised innovation squared of heights from pressure, mean of 50", "1", "", 2},
         {"height_health", "Heights from pressure against the filter's own 1-sigma", "1", "", 0, kHealthWords},
         {"rejected_fixes", "Fixes that did not pass the gate", "1", "", 0},
         {"rejected_heights", "Heights from pressure that did not pass the gate", "1", "", 0}}};
}

EstimateTable look_table() {
    return {"look",
            "Look angles from the station",
            0.04,
            {{"azimuth_true_deg", "Azimuth, clockwise from true north", "deg", "Antenna", 1, {}, "azimuth_deg_sigma"},
             {"azimuth_magnetic_deg",
              "Azimuth, clockwise from magnetic north",
              "deg",
              "Antenna",
              1,
              {},
              "azimuth_deg_sigma"},
             {"azimuth_deg_sigma", "1-sigma", "deg", "", 2},
             {"elevation_deg", "Above the horizon", "deg", "Antenna", 1, {}, "elevation_deg_sigma"},
             {"elevation_deg_sigma", "1-sigma", "deg", "", 2},
             {"slant_range_m", "Straight distance to the vehicle", "m", "Antenna", 0, {}, "slant_range_m_sigma"},
             {"slant_range_m_sigma", "1-sigma", "m", "", 1},
             {"range_rate_mps", "Going away positive", "m/s", "", 1},
             {"pointing_half_beams", "1-sigma of the direction in half beamwidths; below 1 the vehicle is in the beam",
              "1", "Antenna", 2}}};
}

EstimateTable compare_table() {
    return {"compare",
            "Ground minus on-board",
            0.1,
            {{"altitude_m",
              "Height above the pad, ground minus on-board",
              "m",
              "Ground minus on-board",
              1,
              {},
              "altitude_m_sigma"},
             {"altitude_m_sigma", "1-sigma of the ground's value", "m", "", 1},
             {"vertical_speed_mps",
              "Vertical speed, ground minus on-board",
              "m/s",
              "Ground minus on-board",
              2,
              {},
              "vertical_speed_mps_sigma"},
             {"vertical_speed_mps_sigma", "1-sigma of the ground's value", "m/s", "", 2},
             {"speed_mps", "Speed, ground minus on-board", "m/s", "Ground minus on-board", 2, {}, "speed_mps_sigma"},
             {"speed_mps_sigma", "1-sigma of the ground's value", "m/s", "", 2},
             {"attitude_deg",
              "Angle between the two attitudes",
              "deg",
              "Ground minus on-board",
              1,
              {},
              "attitude_deg_sigma"},
             {"attitude_deg_sigma", "1-sigma of the ground's value, all axes", "deg", "", 1},
             {"long_axis_deg",
              "Angle between the two long axes",
              "deg",
              "Ground minus on-board",
              1,
              {},
              "long_axis_deg_sigma"},
             {"long_axis_deg_sigma", "1-sigma of the ground's value", "deg", "", 1}}};
}

} // namespace turnstone
