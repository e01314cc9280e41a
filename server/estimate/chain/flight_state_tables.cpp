#include "server/estimate/chain/flight_state_tables.hpp"

#include "server/estimate/phases/phase.hpp"

namespace turnstone {

EstimateTable air_table() {
    return {"air",
            "Air data",
            0.04,
            {{"altitude_m",
              "Height above the pad from static pressure, in the day's atmosphere",
              "m",
              "Air data",
              1,
              {},
              "altitude_m_sigma"},
             {"altitude_m_sigma", "1-sigma, with the unknown lapse of the day", "m", "", 1},
             {"altitude_msl_m",
              "Height above mean sea level from static pressure",
              "m",
              "Air data",
              1,
              {},
              "altitude_m_sigma"},
             {"pressure_altitude_m", "Height on the standard atmosphere's scale from 1013.25 hPa", "m", "Air data", 1},
             {"temperature_k", "Outside air, of the day's atmosphere", "K", "Air data", 1, {}, "temperature_k_sigma"},
             {"temperature_k_sigma", "1-sigma", "K", "", 1},
             {"density_kg_m3", "Air density", "kg/m3", "Air data", 3},
             {"speed_of_sound_mps", "Speed of sound", "m/s", "Air data", 1},
             {"mach", "Mach number", "1", "Air data", 2, {}, "mach_sigma"},
             {"mach_sigma", "1-sigma", "1", "", 2},
             {"dynamic_pressure_pa", "Dynamic pressure", "Pa", "Air data", 0, {}, "dynamic_pressure_pa_sigma"},
             {"dynamic_pressure_pa_sigma", "1-sigma", "Pa", "", 0}}};
}

EstimateTable vertical_table() {
    return {
        "vertical",
        "Vertical motion",
        0.02,
        {{"altitude_m", "Height above the pad", "m", "Vertical", 1, {}, "altitude_m_sigma"},
         {"altitude_m_sigma", "1-sigma, with the unknown lapse of the day", "m", "", 1},
         {"vertical_speed_mps", "Vertical speed, up positive", "m/s", "Vertical", 1, {}, "vertical_speed_mps_sigma"},
         {"vertical_speed_mps_sigma", "1-sigma", "m/s", "", 1},
         {"acceleration_mps2",
          "Vertical acceleration, up positive, gravity removed",
          "m/s2",
          "Vertical",
          1,
          {},
          "acceleration_mps2_sigma"},
         {"acceleration_mps2_sigma", "1-sigma", "m/s2", "", 1},
         {"accel_bias_mps2", "Bias of the vertical accelerometer", "m/s2", "", 2, {}, "accel_bias_mps2_sigma"},
         {"accel_bias_mps2_sigma", "1-sigma", "m/s2", "", 2},
         {"inertial", "Whether the accelerometer is in use", "1", "", 0, {{0, "heights only"}, {1, "inertial"}}},
         {"nis", "Normalised innovation squared of the newest height", "1", "", 2},
         {"nis_mean", "Mean normalised innovation squared of the last 50 heights", "1", "Health", 2},
         {"health",
          "Innovations against their chi-square bounds",
          "1",
          "Health",
          0,
          {{0, "starting"}, {1, "consistent"}, {2, "sigmas too large"}, {3, "do not believe"}}}}};
}

EstimateTable phase_table() {
    EstimateColumn phase{"phase", "Phase of the flight", "1", "Flight", 0};
    for (std::size_t i = 0; i < kPhaseCount; ++i)
        phase.enumeration[static_cast<std::int64_t>(i)] = std::string(phase_word(static_cast<Phase>(i)));
    return {"phase",
            "Phase",
            1.0,
            {phase,
             {"time_in_phase_s", "Since the phase began", "s", "Flight", 1},
             {"time_since_lift_off_s", "Since lift-off", "s", "Flight", 1}}};
}

} // namespace turnstone
