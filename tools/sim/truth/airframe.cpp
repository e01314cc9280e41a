#include "tools/sim/truth/airframe.hpp"

#include <nlohmann/json.hpp>

#include "shared/constants.hpp"

namespace turnstone::sim {

namespace {

std::array<double, 2> pair_of(JsonReader& reader, std::string_view key) {
    std::array<double, 2> out{1.0, 1.0};
    std::vector<JsonReader> elements = reader.array(key, 2, 2);
    for (std::size_t i = 0; i < elements.size() && i < 2; ++i) out[i] = elements[i].as_number(1e-9, 1e6);
    return out;
}

} // namespace

Airframe read_airframe(const nlohmann::json& json, const std::string& file, std::vector<Problem>& problems) {
    JsonReader reader(json, file, problems);
    Airframe out{};
    reader.ignore("vehicle");
    out.inertia_dry_kg_m2 = pair_of(reader, "inertia_dry_kg_m2");
    out.inertia_propellant_kg_m2 = pair_of(reader, "inertia_propellant_kg_m2");
    out.normal_force_slope_per_rad = reader.number("normal_force_slope_per_rad", 0.0, 100.0);
    out.static_margin_m = reader.number("static_margin_m", -1.0, 5.0);
    out.damping_length2_m2 = reader.number("damping_length2_m2", 0.0, 1e3);
    out.roll_damping_m2 = reader.number("roll_damping_m2", 0.0, 10.0);
    out.roll_cant_m = reader.number("roll_cant_m", -1.0, 1.0);
    out.riser_arm_m = reader.number("riser_arm_m", 0.0, 10.0);
    out.hanging_damping_n_m_s = reader.number("hanging_damping_n_m_s", 0.0, 100.0);
    out.line_stretch_s = reader.number("line_stretch_s", 0.0, 10.0);
    for (JsonReader& element : reader.array("fill_s", 1, 8)) out.fill_s.push_back(element.as_number(0.01, 20.0));
    if (auto ejection = reader.object("ejection")) {
        out.ejection.impulse_n_s = ejection->number("impulse_n_s", 0.0, 1e3);
        out.ejection.duration_s = ejection->number("duration_s", 0.001, 1.0);
        out.ejection.torque_impulse_n_m_s = ejection->number("torque_impulse_n_m_s", 0.0, 100.0);
        out.ejection.pressure_pulse_pa = ejection->number("pressure_pulse_pa", 0.0, 1e6);
        out.ejection.pressure_decay_s = ejection->number("pressure_decay_s", 0.001, 10.0);
        ejection->finish();
    }
    if (auto fins = reader.object_if("fins")) {
        out.fins = FinDrive{.roll_effect_m = fins->number("roll_effect_m", 1e-6, 10.0),
                            .pitch_effect_m = fins->number("pitch_effect_m", 1e-6, 10.0),
                            .arm_m = fins->number("arm_m", 0.01, 10.0),
                            .limit_rad = fins->number("limit_rad", 0.01, 1.0),
                            .rate_limit_radps = fins->number("rate_limit_radps", 0.1, 100.0),
                            .lag_s = fins->number("lag_s", 1e-3, 1.0),
                            .delay_s = fins->number("delay_s", 0.0, 0.5),
                            .noise_rad = fins->number("noise_rad", 0.0, 0.1)};
        fins->finish();
    }
    out.vibration_accel_mps2 = reader.number("vibration_accel_mps2", 0.0, 100.0);
    out.vibration_rate_radps = reader.number("vibration_rate_radps", 0.0, 10.0);
    out.barometer_lag_s = reader.number("barometer_lag_s", 0.0, 5.0);
    out.port_pressure_coefficient = reader.number("port_pressure_coefficient", -1.0, 1.0);
    out.fix_lost_above_mps2 = reader.number("fix_lost_above_mps2", 1.0, 1e4);
    out.fix_lost_above_mps = reader.number_or("fix_lost_above_mps", 1.0, 1e5, kInfinity);
    out.fix_lost_above_m = reader.number_or("fix_lost_above_m", 1.0, 1e6, kInfinity);
    out.clock_drift_ppm = reader.number("clock_drift_ppm", 0.0, 1e3);
    out.battery_v = reader.number("battery_v", 1.0, 100.0);
    reader.finish();
    return out;
}

} // namespace turnstone::sim
