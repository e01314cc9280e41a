#pragma once
/// Roles tell estimators what a channel is. The name in a dictionary is the enumerator's name, e.g. "accel_body_x". The
/// unit is the one every estimator expects; a dictionary channel with a role must carry exactly that unit (UCUM).
#include <array>
#include <optional>
#include <string_view>

namespace turnstone {

enum class Role : unsigned char {
    accel_body_x,
    accel_body_y,
    accel_body_z, ///< specific force, m/s2, body axes (x forward along the long axis)
    rate_body_x,
    rate_body_y,
    rate_body_z, ///< rad/s
    mag_body_x,
    mag_body_y,
    mag_body_z,      ///< microtesla
    static_pressure, ///< Pa
    air_temperature, ///< K
    latitude,
    longitude, ///< deg, WGS 84
    height_ellipsoid,
    height_msl, ///< m
    velocity_east,
    velocity_north,
    velocity_up, ///< m/s
    position_ecef_x,
    position_ecef_y,
    position_ecef_z, ///< m, earth-centred, earth-fixed, WGS 84: in place of latitude, longitude and height
    velocity_ecef_x,
    velocity_ecef_y,
    velocity_ecef_z, ///< m/s, in place of velocity_east, north and up
    fix_dimensions,  ///< as in the NMEA 0183 GSA sentence: 1 none, 2 2-D, 3 3-D; without this role every fix is 3-D
    satellites_used, ///< count
    fix_accuracy_horizontal,
    fix_accuracy_vertical, ///< m, 1-sigma
    fix_accuracy_speed,    ///< m/s, 1-sigma of each axis
    fix_utc,               ///< s since 1970-01-01 UTC, leap seconds not counted: when position and velocity were true
    fix_utc_time_of_day,   ///< s since midnight UTC, in place of fix_utc
    gps_week,              ///< count since 1980-01-06, whole or modulo 1024
    gps_time_of_week,      ///< s, GPS time: in place of fix_utc; without gps_week the nearest week is taken
    battery_voltage,       ///< V
    pyro_continuity,       ///< 1 good, 0 open; several channels may have this role
    radio_rssi,            ///< dBm, of the ground receiver or the vehicle's radio
    onboard_phase,         ///< enumeration of the vehicle's own
    onboard_altitude,
    onboard_vertical_speed, ///< m above the pad, m/s
    onboard_q_w,
    onboard_q_x,
    onboard_q_y,
    onboard_q_z,   ///< body to local, Hamilton
    onboard_speed, ///< m/s
    boot_count,    ///< count
    wind_speed,
    wind_from, ///< m/s, deg from true north
    fin_roll_command,
    fin_pitch_command,
    fin_yaw_command, ///< rad, what the fins are told: deflection about a body axis, positive turns positively about it
    fin_roll,
    fin_pitch,
    fin_yaw,            ///< rad, the same as measured
    engine_speed,       ///< revolutions per minute
    engine_temperature, ///< K
    oil_pressure,       ///< Pa
    charge_fired,     ///< an ejection charge: its number, from 1 in the order of vehicle.json's parachutes, as it fires
    charge_number,    ///< the same, of what was measured around its firing and is sent afterwards:
    charge_accel_x,   ///< m/s2, as accel_body_x, but for no estimator: it is of the past, as the next three
    charge_turn_rate, ///< rad/s, across the long axis
    charge_bay_pressure, ///< Pa, absolute, where the charge is
    charge_battery,      ///< V
    charge_current,      ///< A, through the igniter
    dictionary_version,  ///< a text: the `version` of the dictionary that the vehicle was built with
    count_
};

struct RoleInfo {
    Role role;
    std::string_view name;
    std::string_view unit;  ///< UCUM spelling; "1" for counts and enumerations; empty: of a text
    std::string_view title; ///< for people, fit for the middle of a sentence
};

/// Every role, indexed by its enumerator.
extern const std::array<RoleInfo, static_cast<std::size_t>(Role::count_)> kRoles;

/// How many channels of a vehicle may have this role: two of an accelerometer, a gyro and a barometer, of which the
/// ground uses one at a time; two of the wind, which come in different packets, and all of which it uses.
[[nodiscard]] unsigned role_channels_max(Role role) noexcept;

[[nodiscard]] std::optional<Role> role_from_name(std::string_view name) noexcept;

} // namespace turnstone
