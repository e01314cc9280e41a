#include "tools/trials/trial_case.hpp"

#include <algorithm>
#include <stdexcept>

#include "tools/trials/trial.hpp"

namespace turnstone::trials {

namespace {

template <class List>
auto named(const List& list, std::string_view name, const std::string& what) {
    const auto found = std::find_if(list.begin(), list.end(), [&](const auto& one) { return one.name == name; });
    if (found != list.end()) return *found;
    std::string known;
    for (const auto& one : list) known += " " + std::string(one.name);
    throw std::runtime_error("no " + what + " \"" + std::string(name) + "\"; there are:" + known);
}

std::string rate(double hz) {
    return std::to_string(static_cast<int>(hz));
}

} // namespace

const std::vector<Kit>& kits() {
    static const std::vector<Kit> kKits{
        {"demo", {}},
        {"all", {.batch = 1}},
        {"apart", {.imu_hz = 50, .batch = 1, .triads_apart = true}},
        {"imu+baro", {.fix_hz = 0, .batch = 1}},
        {"accel+baro", {.imu_hz = 50, .fix_hz = 0, .batch = 1, .lateral = false, .rates = false}},
        {"baro", {.imu_hz = 0, .pressure_hz = 10, .fix_hz = 0, .batch = 1, .lateral = false, .rates = false}},
        {"fix", {.imu_hz = 0, .pressure_hz = 0, .batch = 1, .lateral = false, .rates = false}},
        {"fix+baro", {.imu_hz = 0, .pressure_hz = 10, .batch = 1, .lateral = false, .rates = false}},
    };
    return kKits;
}

const std::vector<Trouble>& troubles() {
    static const std::vector<Trouble> kTroubles{
        {"clip", "an accelerometer of 90 m/s2 range", [](auto& s) { s.vehicle.sensors.accel_range_mps2 = 90; }},
        {"spin", "fins that spin it at 10 Hz", [](auto& s) { s.spin_hz = 10; }},
        {"spin-4", "fins that spin it at 4 Hz", [](auto& s) { s.spin_hz = 4; }},
        {"delay", "fixes 0.3 s late, told 0.12 s",
         [](auto& s) { s.errors.receiver.delay_low_s = s.errors.receiver.delay_high_s = 0.18; }},
        {"scatter", "fixes that scatter 1.6 times as far as told",
         [](auto& s) {
             s.errors.receiver.size = 1.15;
             s.errors.receiver.correlated_share = 0.8;
         }},
        {"datum", "heights of fixes 50 m above the site's", [](auto& s) { s.datum_offset_m = 50; }},
        {"slow-baro", "a barometer that averages over 0.2 s", [](auto& s) { s.barometer_filter_s = 0.2; }},
        {"port", "three times the port error",
         [](auto& s) { s.errors.barometer.port = 3 * s.errors.barometer.port.value_or(0.015); }},
        {"scale", "three times the inertial scale and misalignment",
         [](auto& s) {
             sim::InertialErrors& e = s.errors.inertial;
             for (double* each : {&e.accel_scale, &e.accel_misalignment_rad, &e.gyro_scale, &e.gyro_misalignment_rad})
                 *each *= 3;
         }},
        {"drift", "three times the drift with temperature",
         [](auto& s) {
             sim::InertialErrors& e = s.errors.inertial;
             for (double* each : {&e.accel_mps2_per_k, &e.gyro_radps_per_k, &e.scale_per_k}) *each *= 3;
         }},
        {"vibration", "three times the accelerometer's error by vibration",
         [](auto& s) { s.errors.inertial.rectification_s2_per_m *= 3; }},
        {"relock", "first fixes after a loss three times as far off",
         [](auto& s) {
             s.errors.receiver.relock_m *= 3;
             s.errors.receiver.relock_mps *= 3;
         }},
        {"sparse", "one fix a second, scattering 1.6 times as far as told",
         [](auto& s) {
             s.errors.receiver.size = 1.15;
             s.errors.receiver.correlated_share = 0.8;
         }},
        {"middle", "samples dated in their middle",
         [](auto& s) { s.vehicle.sensors.imu_sample_time = SampleTime::middle; }},
        {"start", "samples dated at their start",
         [](auto& s) { s.vehicle.sensors.imu_sample_time = SampleTime::start; }},
        {"filtered", "an inertial sensor that filters for 8 ms",
         [](auto& s) { s.vehicle.sensors.imu_group_delay_s = 0.008; }},
        {"fast", "a receiver that loses lock above 60 m/s", [](auto& s) { s.airframe.fix_lost_above_mps = 60; }},
        {"boot-10", "ten seconds to reboot", [](auto& s) { s.boot_s = 10; }},
        {"fades", "six fades of 3 s a minute",
         [](auto& s) {
             s.impairment.fades_per_minute = 6;
             s.impairment.fade_s = 3;
         }},
        {"high", "a motor that takes it to 8 km, at twice the speed of sound",
         [](auto& s) {
             RocketModel& rocket = *s.vehicle.rocket;
             rocket.mass_dry_kg = 3.6;
             rocket.mass_propellant_kg = 2.6;
             rocket.rail_length_m = 4;
             for (double& t_s : rocket.thrust_n.x) t_s *= 3.2;
             for (double& newtons : rocket.thrust_n.y) newtons *= 2.2;
             for (double& coefficient : rocket.drag_coefficient.y) coefficient *= 0.7;
         }},
    };
    return kTroubles;
}

std::string TrialCase::title() const {
    std::string out = scenario;
    if (radio != "clean") out += ", " + radio;
    if (kit != "demo") out += ", " + kit;
    const sim::Scenario made = scenario_of(*this);
    if (made.telemetry != sim::Telemetry{})
        out += " " + rate(made.telemetry.imu_hz) + "/" + rate(made.telemetry.pressure_hz) + "/" +
               rate(made.telemetry.fix_hz) + " Hz" +
               (made.telemetry.batch > 1 ? " in " + std::to_string(made.telemetry.batch) + "s" : "");
    if (!trouble.empty()) out += ", " + trouble;
    return out + " (" + errors + ")";
}

sim::Scenario scenario_of(const TrialCase& trial_case) {
    sim::Scenario out = trial_scenario(trial_case.scenario, trial_case.radio, trial_case.errors);
    out.telemetry = named(kits(), trial_case.kit, "kit").telemetry;
    if (trial_case.imu_hz > 0) out.telemetry.imu_hz = trial_case.imu_hz;
    if (trial_case.pressure_hz > 0) out.telemetry.pressure_hz = trial_case.pressure_hz;
    if (trial_case.fix_hz > 0) out.telemetry.fix_hz = trial_case.fix_hz;
    if (trial_case.batch > 0) out.telemetry.batch = trial_case.batch;
    if (!trial_case.trouble.empty()) named(troubles(), trial_case.trouble, "trouble").apply(out);
    return out;
}

} // namespace turnstone::trials
