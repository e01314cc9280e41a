#include "protocol/dictionary/roles.hpp"

namespace turnstone {

// Units are UCUM, case-sensitive. dBm has no code of its own there: a decibel with an annotation is the regular
// spelling.
const std::array<RoleInfo, static_cast<std::size_t>(Role::count_)> kRoles = {{
    {Role::accel_body_x, "accel_body_x", "m/s2", "axial acceleration"},
    {Role::accel_body_y, "accel_body_y", "m/s2", "acceleration along body y"},
    {Role::accel_body_z, "accel_body_z", "m/s2", "acceleration along body z"},
    {Role::rate_body_x, "rate_body_x", "rad/s", "roll rate"},
    {Role::rate_body_y, "rate_body_y", "rad/s", "turn rate about body y"},
    {Role::rate_body_z, "rate_body_z", "rad/s", "turn rate about body z"},
    {Role::mag_body_x, "mag_body_x", "uT", "axial magnetic field"},
    {Role::mag_body_y, "mag_body_y", "uT", "magnetic field along body y"},
    {Role::mag_body_z, "mag_body_z", "uT", "magnetic field along body z"},
    {Role::static_pressure, "static_pressure", "Pa", "static pressure"},
    {Role::air_temperature, "air_temperature", "K", "air temperature"},
    {Role::latitude, "latitude", "deg", "latitude"},
    {Role::longitude, "longitude", "deg", "longitude"},
    {Role::height_ellipsoid, "height_ellipsoid", "m", "height above the ellipsoid"},
    {Role::height_msl, "height_msl", "m", "altitude MSL"},
    {Role::velocity_east, "velocity_east", "m/s", "velocity east"},
    {Role::velocity_north, "velocity_north", "m/s", "velocity north"},
    {Role::velocity_up, "velocity_up", "m/s", "velocity up"},
    {Role::position_ecef_x, "position_ecef_x", "m", "earth-centred position, x"},
    {Role::position_ecef_y, "position_ecef_y", "m", "earth-centred position, y"},
    {Role::position_ecef_z, "position_ecef_z", "m", "earth-centred position, z"},
    {Role::velocity_ecef_x, "velocity_ecef_x", "m/s", "earth-centred velocity, x"},
    {Role::velocity_ecef_y, "velocity_ecef_y", "m/s", "earth-centred velocity, y"},
    {Role::velocity_ecef_z, "velocity_ecef_z", "m/s", "earth-centred velocity, z"},
    {Role::fix_dimensions, "fix_dimensions", "1", "dimensions of the GNSS fix"},
    {Role::satellites_used, "satellites_used", "1", "satellites used"},
    {Role::fix_accuracy_horizontal, "fix_accuracy_horizontal", "m", "horizontal accuracy of the GNSS fix"},
    {Role::fix_accuracy_vertical, "fix_accuracy_vertical", "m", "vertical accuracy of the GNSS fix"},
    {Role::fix_accuracy_speed, "fix_accuracy_speed", "m/s", "speed accuracy of the GNSS fix"},
    {Role::fix_utc, "fix_utc", "s", "time of the GNSS fix, UTC"},
    {Role::fix_utc_time_of_day, "fix_utc_time_of_day", "s", "time of the GNSS fix, UTC, since midnight"},
    {Role::gps_week, "gps_week", "1", "GPS week of the GNSS fix"},
    {Role::gps_time_of_week, "gps_time_of_week", "s", "GPS time of week of the GNSS fix"},
    {Role::battery_voltage, "battery_voltage", "V", "battery voltage"},
    {Role::pyro_continuity, "pyro_continuity", "1", "igniter continuity"},
    {Role::radio_rssi, "radio_rssi", "dB{mW}", "received signal strength"},
    {Role::onboard_phase, "onboard_phase", "1", "on-board phase"},
    {Role::onboard_altitude, "onboard_altitude", "m", "on-board altitude AGL"},
    {Role::onboard_vertical_speed, "onboard_vertical_speed", "m/s", "on-board vertical speed"},
    {Role::onboard_q_w, "onboard_q_w", "1", "on-board attitude quaternion, w"},
    {Role::onboard_q_x, "onboard_q_x", "1", "on-board attitude quaternion, x"},
    {Role::onboard_q_y, "onboard_q_y", "1", "on-board attitude quaternion, y"},
    {Role::onboard_q_z, "onboard_q_z", "1", "on-board attitude quaternion, z"},
    {Role::onboard_speed, "onboard_speed", "m/s", "on-board speed"},
    {Role::boot_count, "boot_count", "1", "boot count"},
    {Role::wind_speed, "wind_speed", "m/s", "wind speed"},
    {Role::wind_from, "wind_from", "deg", "wind direction"},
    {Role::fin_roll_command, "fin_roll_command", "rad", "commanded roll deflection"},
    {Role::fin_pitch_command, "fin_pitch_command", "rad", "commanded pitch deflection"},
    {Role::fin_yaw_command, "fin_yaw_command", "rad", "commanded yaw deflection"},
    {Role::fin_roll, "fin_roll", "rad", "roll deflection"},
    {Role::fin_pitch, "fin_pitch", "rad", "pitch deflection"},
    {Role::fin_yaw, "fin_yaw", "rad", "yaw deflection"},
    {Role::engine_speed, "engine_speed", "{rev}/min", "engine speed"},
    {Role::engine_temperature, "engine_temperature", "K", "engine temperature"},
    {Role::oil_pressure, "oil_pressure", "Pa", "oil pressure"},
    {Role::charge_fired, "charge_fired", "1", "number of the charge that fires"},
    {Role::charge_number, "charge_number", "1", "number of the charge"},
    {Role::charge_accel_x, "charge_accel_x", "m/s2", "axial acceleration around a firing"},
    {Role::charge_turn_rate, "charge_turn_rate", "rad/s", "turn rate around a firing"},
    {Role::charge_bay_pressure, "charge_bay_pressure", "Pa", "bay pressure around a firing"},
    {Role::charge_battery, "charge_battery", "V", "battery voltage around a firing"},
    {Role::charge_current, "charge_current", "A", "igniter current"},
    {Role::dictionary_version, "dictionary_version", "", "dictionary version"},
}};

unsigned role_channels_max(Role role) noexcept {
    const bool is_wind = role == Role::wind_speed || role == Role::wind_from;
    return role <= Role::rate_body_z || role == Role::static_pressure || is_wind ? 2 : 1;
}

std::optional<Role> role_from_name(std::string_view name) noexcept {
    for (const RoleInfo& info : kRoles)
        if (info.name == name) return info.role;
    return std::nullopt;
}

} // namespace turnstone
