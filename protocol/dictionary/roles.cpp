#include "protocol/dictionary/roles.hpp"

namespace turnstone {

// Units are UCUM, case-sensitive. dBm has no code of its own there: a decibel with an annotation is the regular
// spelling.
const std::array<RoleInfo, static_cast<std::size_t>(Role::count_)> kRoles = {{
    {Role::accel_body_x, "accel_body_x", "m/s2"},
    {Role::accel_body_y, "accel_body_y", "m/s2"},
    {Role::accel_body_z, "accel_body_z", "m/s2"},
    {Role::rate_body_x, "rate_body_x", "rad/s"},
    {Role::rate_body_y, "rate_body_y", "rad/s"},
    {Role::rate_body_z, "rate_body_z", "rad/s"},
    {Role::mag_body_x, "mag_body_x", "uT"},
    {Role::mag_body_y, "mag_body_y", "uT"},
    {Role::mag_body_z, "mag_body_z", "uT"},
    {Role::static_pressure, "static_pressure", "Pa"},
    {Role::air_temperature, "air_temperature", "K"},
    {Role::latitude, "latitude", "deg"},
    {Role::longitude, "longitude", "deg"},
    {Role::height_ellipsoid, "height_ellipsoid", "m"},
    {Role::height_msl, "height_msl", "m"},
    {Role::velocity_east, "velocity_east", "m/s"},
    {Role::velocity_north, "velocity_north", "m/s"},
    {Role::velocity_up, "velocity_up", "m/s"},
    {Role::fix_type, "fix_type", "1"},
    {Role::satellites_used, "satellites_used", "1"},
    {Role::fix_accuracy_horizontal, "fix_accuracy_horizontal", "m"},
    {Role::fix_accuracy_vertical, "fix_accuracy_vertical", "m"},
    {Role::battery_voltage, "battery_voltage", "V"},
    {Role::pyro_continuity, "pyro_continuity", "1"},
    {Role::radio_rssi, "radio_rssi", "dB{mW}"},
    {Role::onboard_phase, "onboard_phase", "1"},
    {Role::onboard_altitude, "onboard_altitude", "m"},
    {Role::onboard_vertical_speed, "onboard_vertical_speed", "m/s"},
    {Role::onboard_q_w, "onboard_q_w", "1"},
    {Role::onboard_q_x, "onboard_q_x", "1"},
    {Role::onboard_q_y, "onboard_q_y", "1"},
    {Role::onboard_q_z, "onboard_q_z", "1"},
    {Role::onboard_speed, "onboard_speed", "m/s"},
    {Role::boot_count, "boot_count", "1"},
    {Role::wind_speed, "wind_speed", "m/s"},
    {Role::wind_from, "wind_from", "deg"},
    {Role::engine_speed, "engine_speed", "{rev}/min"},
    {Role::engine_temperature, "engine_temperature", "K"},
    {Role::oil_pressure, "oil_pressure", "Pa"},
}};

std::optional<Role> role_from_name(std::string_view name) noexcept {
    for (const RoleInfo& info : kRoles)
        if (info.name == name) return info.role;
    return std::nullopt;
}

} // namespace turnstone
