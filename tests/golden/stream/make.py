#!/usr/bin/env python3
"""Writes the golden messages of protocol/STREAM.md, version 1, from that text alone.

It shares no code with the server or the dashboard: bytes come from Python's `struct`, JSON from its `json`. Run it in this
folder and look at the difference before it is committed. The C++ tests make these messages and compare; the TypeScript
tests read them.
"""
import json
import math
import struct

NAN = float("nan")
T_START_NS = 1779028325000000000  # 2026-05-17T14:32:05Z


def block_message(seq, newest_t_s, blocks, flags=0):
    out = struct.pack("<BBHIQd", 1, 1, flags, len(blocks), seq, newest_t_s)
    for table, times, columns in blocks:
        assert len(out) % 8 == 0
        out += struct.pack("<HHI", table, len(columns), len(times))
        out += struct.pack(f"<{len(times)}d", *times)
        for column in columns:
            out += struct.pack(f"<{len(times)}d", *column)
    return out


def series(table, times, parts):
    """parts: one list of columns (plain), or three (min, max, mean: decimated)."""
    out = b"TSS1" + struct.pack("<HHII", table, len(parts[0]), len(times), 1 if len(parts) == 3 else 0)
    out += struct.pack(f"<{len(times)}d", *times)
    for part in parts:
        for column in part:
            out += struct.pack(f"<{len(times)}d", *column)
    return out


def plain(value):
    if isinstance(value, float) and math.isnan(value):
        return None
    if isinstance(value, (list, tuple)):
        return [plain(v) for v in value]
    return value


def write_binary(name, data, expected):
    with open(f"{name}.hex", "w") as file:
        text = data.hex()
        for start in range(0, len(text), 64):
            file.write(text[start:start + 64] + "\n")
    write_json(name, expected)


def write_json(name, value):
    with open(f"{name}.json", "w") as file:
        json.dump(value, file, indent=1, ensure_ascii=False, allow_nan=False)
        file.write("\n")


def write_blocks(name, seq, newest_t_s, blocks, flags=0):
    write_binary(name, block_message(seq, newest_t_s, blocks, flags), {
        "seq": seq, "replay": bool(flags & 1), "coalesced": bool(flags & 2), "newest_t_s": newest_t_s,
        "blocks": [{"table": t, "t_s": list(times), "columns": plain(columns)} for t, times, columns in blocks]})


def write_series(name, table, times, parts):
    expected = {"table": table, "decimated": len(parts) == 3, "t_s": list(times)}
    if len(parts) == 3:
        expected.update(min=plain(parts[0]), max=plain(parts[1]), mean=plain(parts[2]))
    else:
        expected["values"] = plain(parts[0])
    write_binary(name, series(table, times, parts), expected)


def fnv1a_53(data):
    """FNV-1a, 64 bits (IETF draft-eastlake-fnv), upper 53 bits."""
    value = 0xCBF29CE484222325
    for byte in data:
        value = ((value ^ byte) * 0x100000001B3) & 0xFFFFFFFFFFFFFFFF
    return value >> 11


# Two tables in one message; rows of the batch in order of making; a NaN; a late row that steps back in time.
write_blocks("block_live", 42, 3.04, [
    (0, [3.0, 3.005, 3.01, 3.015], [[98.5, 99.0, -0.25, NAN], [0.5, -0.5, 0.125, 1e-300]]),
    (2, [3.04, 2.96], [[120.75, 118.5], [0.5, 0.5], [55.25, NAN], [0.25, 0.25], [1.0, 1.0]]),
])
# A message of a replay, with no blocks.
write_blocks("block_empty", 7, 0.0, [], flags=1)
write_blocks("block_coalesced", 900, 12.5, [
    (0, [12.5], [[9.75], [-9.75]]),
    (1, [12.25], [[87850.0]]),
], flags=2)

write_series("series_plain", 1, [0.0, 0.5, 1.0], [[[87850.0, NAN, 87849.5]]])
write_series("series_decimated", 0, [10.0, 11.0], [
    [[-3.5, NAN], [0.0, 1.0]], [[160.0, NAN], [0.5, 1.0]], [[4.25, NAN], [0.25, 1.0]]])

COLUMN = {"name": "", "title": "", "description": "", "unit": "1", "group": "", "decimals": 2, "range": None,
          "limits": [], "enumeration": None, "role": None, "sigma_column": None, "interval": None, "strip": None,
          "text": False}


def column(name, title, unit="1", group="", decimals=2, description="", **members):
    return {**COLUMN, "name": name, "title": title, "description": description, "unit": unit, "group": group,
            "decimals": decimals, **members}


def with_sigma(name, title, unit, group, decimals, sigma_decimals, description="", **members):
    sigma = f"{name}_sigma"
    return [column(name, title, unit, group, decimals, description, sigma_column=sigma, **members),
            column(sigma, f"{title}, 1-sigma", unit, "", sigma_decimals)]


def words(name, title, group, description, *enumeration):
    return column(name, title, "1", group, 0, description,
                  enumeration={str(value): word for value, word in enumerate(enumeration)})


def health(name, title, group, description="Against the filter's own 1-sigma"):
    return words(name, title, group, description, "not enough data yet", "consistent", "conservative", "overconfident",
                 "do not trust")


def table(number, name, title, kind, vehicle, period_s, columns):
    return {"id": number, "name": name, "title": title, "kind": kind, "vehicle": vehicle, "period_s": period_s,
            "columns": columns}


def landing_case(name, title, group):
    return [column(f"{name}_east_m", f"{title}: east of the pad", "m", group, 0, "Mean landing point"),
            column(f"{name}_north_m", f"{title}: north of the pad", "m", group, 0, "Mean landing point"),
            column(f"{name}_semi_major_m", f"{title}: semi-major axis", "m", group, 0, "Of the 95 % ellipse"),
            column(f"{name}_semi_minor_m", f"{title}: semi-minor axis", "m", group, 0, "Of the 95 % ellipse"),
            column(f"{name}_bearing_deg", f"{title}: bearing of the ellipse", "deg", "", 0,
                   "Longer axis, clockwise from true north"),
            column(f"{name}_in_s", f"{title}: time to landing", "s", group, 0, "Mean"),
            column(f"{name}_outside", f"{title}: outside the boundary", "{fraction}", group, 3,
                   "Fraction of landings; advisory, the range safety officer decides"),
            column(f"{name}_probability", f"{title}: probability", "{fraction}", group, 3,
                   "Of the case: the vehicle file's, and what the descent shows")]


# What people call each role; names are those of protocol/dictionary/roles.hpp.
ROLES = {
    "accel_body_x": "axial acceleration", "accel_body_y": "acceleration along body y",
    "accel_body_z": "acceleration along body z", "rate_body_x": "roll rate", "rate_body_y": "turn rate about body y",
    "rate_body_z": "turn rate about body z", "mag_body_x": "axial magnetic field",
    "mag_body_y": "magnetic field along body y", "mag_body_z": "magnetic field along body z",
    "static_pressure": "static pressure", "air_temperature": "air temperature", "latitude": "latitude",
    "longitude": "longitude", "height_ellipsoid": "height above the ellipsoid", "height_msl": "altitude MSL",
    "velocity_east": "velocity east", "velocity_north": "velocity north", "velocity_up": "velocity up",
    "position_ecef_x": "earth-centred position, x", "position_ecef_y": "earth-centred position, y",
    "position_ecef_z": "earth-centred position, z", "velocity_ecef_x": "earth-centred velocity, x",
    "velocity_ecef_y": "earth-centred velocity, y", "velocity_ecef_z": "earth-centred velocity, z",
    "fix_dimensions": "dimensions of the GNSS fix", "satellites_used": "satellites used",
    "fix_accuracy_horizontal": "horizontal accuracy of the GNSS fix",
    "fix_accuracy_vertical": "vertical accuracy of the GNSS fix",
    "fix_accuracy_speed": "speed accuracy of the GNSS fix", "fix_utc": "time of the GNSS fix, UTC",
    "fix_utc_time_of_day": "time of the GNSS fix, UTC, since midnight", "gps_week": "GPS week of the GNSS fix",
    "gps_time_of_week": "GPS time of week of the GNSS fix", "battery_voltage": "battery voltage",
    "pyro_continuity": "igniter continuity", "radio_rssi": "received signal strength",
    "onboard_phase": "on-board phase", "onboard_altitude": "on-board altitude AGL",
    "onboard_vertical_speed": "on-board vertical speed", "onboard_q_w": "on-board attitude quaternion, w",
    "onboard_q_x": "on-board attitude quaternion, x", "onboard_q_y": "on-board attitude quaternion, y",
    "onboard_q_z": "on-board attitude quaternion, z", "onboard_speed": "on-board speed", "boot_count": "boot count",
    "wind_speed": "wind speed", "wind_from": "wind direction",
    "fin_roll_command": "commanded roll deflection", "fin_pitch_command": "commanded pitch deflection",
    "fin_yaw_command": "commanded yaw deflection", "fin_roll": "roll deflection", "fin_pitch": "pitch deflection",
    "fin_yaw": "yaw deflection", "engine_speed": "engine speed",
    "engine_temperature": "engine temperature", "oil_pressure": "oil pressure",
    "charge_fired": "number of the charge that fires", "charge_number": "number of the charge",
    "charge_accel_x": "axial acceleration around a firing", "charge_turn_rate": "turn rate around a firing",
    "charge_bay_pressure": "bay pressure around a firing", "charge_battery": "battery voltage around a firing",
    "charge_current": "igniter current",
    "dictionary_version": "dictionary version"}

def of_check(check, title, unit, decimals, description="", **members):
    states = ["waits", "holds", "fails", "not_evaluated"]
    return [column(check, title, unit, "", decimals, description, **members),
            column(f"{check}_margin", f"{title}, margin", unit, "", decimals,
                   "Room left to the limit; negative: beyond it"),
            column(f"{check}_state", f"{title}, state", "1", "", 0,
                   enumeration={str(value): word for value, word in enumerate(states)})]


# As tests/serve/setup/procedures/bench.json and readiness.json say.
PROCEDURES = [{
    "id": "bench", "title": "Bench check",
    "steps": [{"id": "power", "kind": "instruct", "title": "Switch on", "text": "Switch the electronics on.",
               "caution": "Charges are disconnected.", "checks": []},
              {"id": "look", "kind": "check", "title": "Look", "text": "", "caution": "",
               "checks": ["level", "pulse_back", "clear"]}],
    "checks": [{"id": "level", "title": "Level", "why": "A tilted bench reads as a bias", "severity": "must",
                "required": "\u00b1 0.25 m/s\u00b2", "least": -0.25, "most": 0.25, "room": 0.25,
                "value": {"table": "imu.samples", "column": "accel_body_x"}},
               {"id": "pulse_back", "title": "Pressure back", "why": "", "severity": "should",
                "required": "\u2264 500 ms", "most": 0.5, "room": 0.5, "value": {"table": "baro", "column": "static_pressure"}},
               {"id": "clear", "title": "Bench clear", "why": "", "severity": "must", "required": "confirmed",
                "statement": True}]}]
READINESS = {
    "groups": [{"title": "Weather", "checks": [
        {"id": "wind_gust", "title": "Wind, gust", "why": "The safety code has a limit", "severity": "must",
         "required": "\u2264 8.9 m/s", "most": 8.9, "room": 8.9, "entered": "wind_gust_mps"}]}],
    "positions": [{"id": "weather", "title": "Weather"}]}

DESCRIPTION = {
    "version": 1,
    "recording": {"id": "2026-05-17T143205Z-sanderling", "name": "First light", "notes": "", "t_start_ns": str(T_START_NS),
                  "utc_start_ns": str(T_START_NS), "t_end_s": 12.5, "live": True, "closed": False, "file_bytes": 81920,
                  "damage": ""},
    "software": "0.1.0",
    "site": {"name": "Test site", "pad": {"latitude_deg": -47.25, "longitude_deg": 68.5, "height_m": 12.0},
             "station": {"latitude_deg": -47.2525, "longitude_deg": 68.4975, "height_m": 12.5},
             "declination_deg": -31.5, "antenna_beamwidth_deg": 42, "boundary": [[-47.26, 68.48], [-47.26, 68.52], [-47.24, 68.52]],
             "has_terrain": False},
    "vehicles": [{"name": "sanderling", "title": "Sanderling", "dictionary_version": "1.0.0", "has_rocket": True,
                  "parachutes": [{"name": "drogue", "opens_after_s": 0.0}, {"name": "main", "opens_after_s": 0.0, "opens_below_m": 200.0}],
                  "procedures": PROCEDURES, "readiness": READINESS}],
    "links": [{"name": "radio", "uri": "serial:/dev/ttyUSB0?baud=57600&place=-47.2525,68.4975", "vehicle": 0,
               "place": {"latitude_deg": -47.2525, "longitude_deg": 68.4975}}],
    "tables": [
        table(0, "sanderling/imu.samples", "Inertial samples", "batch", 0, 0.005, [
            column("accel_body_x", "Axial acceleration", "m/s2", "Inertial", 2, "Specific force along the long axis",
                   range=[-160.0, 160.0], role="accel_body_x", strip={"title": "Accel body", "line": "x"}),
            column("rate_body_x", "Roll rate", "rad/s", "Inertial", 3, "About the long axis", role="rate_body_x")]),
        table(1, "sanderling/baro", "Barometer", "packet", 0, 0.04, [
            column("static_pressure", "Static pressure", "Pa", "Air data", 0, "In the electronics bay",
                   role="static_pressure",
                   limits=[{"side": "low", "level": "advisory", "value": 50000.0},
                           {"side": "low", "level": "caution", "value": 40000.0},
                           {"side": "high", "level": "warning", "value": 108000.5}]),
            column("note", "Sensor's note", decimals=0, text=True)]),
        # Of the estimators and the link, the columns that the dashboard asks for by name (web/src/tape), each as the
        # server describes it, with its 1-sigma.
        table(2, "sanderling/estimate/vertical", "Vertical motion", "estimate", 0, 0.02, [
            *with_sigma("altitude_m", "Altitude AGL", "m", "Vertical", 1, 1),
            *with_sigma("vertical_speed_mps", "Vertical speed", "m/s", "Vertical", 1, 1, "Up positive"),
            health("health", "Vertical filter", "Health", "Innovations against their chi-square bounds")]),
        table(3, "link/radio", "Link radio", "link", 0, 1.0, [
            column("frames_good", "Good frames", "1", "Link", 0, "With a correct checksum"),
            column("frames_bad", "Bad frames", "1", "Link", 0, "Without a usable packet"),
            column("dropped_bytes", "Bytes outside good frames", "By", "", 0),
            column("undecodable", "Undecodable frames", "1", "Link", 0, "Good frames that the dictionary cannot read"),
            column("age_s", "Last good frame", "s", "Link", 1, "Time since"),
            column("received", "Packets received", "1", "Link", 0, "Good packets, with duplicates and late ones"),
            column("lost", "Packets lost", "1", "Link", 0, "By gaps in the sequence counts"),
            column("duplicates", "Duplicates", "1", "", 0, "Packets already received by this or another link"),
            column("late", "Late packets", "1", "", 0, "Older than one already accepted"),
            column("out_of_order", "Out of order", "1", "", 0,
                   "Packets received after one with a higher sequence count"),
            column("sequence_resets", "Sequence counter resets", "1", "", 0),
            column("rate_10s", "Packet rate, last 10 s", "/s", "Link", 1, "Without duplicates on this link"),
            column("loss_10s", "Packet loss, last 10 s", "{fraction}", "Link", 3, "Fraction of the packets sent"),
            column("first_here", "First heard here", "1", "", 0, "Packets whose first good copy came by this link"),
            column("only_here", "Heard only here", "1", "", 0,
                   "Of these, packets that no other link has brought, but for those still on their way"),
            column("combined_from", "Damaged frames combined", "1", "", 0,
                   "Damaged frames of this link of which a good one was made, with those of other links")]),
        table(4, "sanderling/estimate/phase", "Phase", "estimate", 0, 1.0, [
            words("phase", "Phase", "Flight", "", "on the rail", "under thrust", "coasting", "falling (no parachute)",
                  "under drogue", "under main", "down", "presumed down"),
            column("time_in_phase_s", "Time in phase", "s", "Flight", 1),
            column("time_since_liftoff_s", "Time since liftoff", "s", "Flight", 1)]),
        table(5, "sanderling/estimate/derived", "Maxima and figures of the flight", "estimate", 0, 1.0, [
            column("altitude_max_m", "Maximum altitude AGL", "m", "Maxima", 1, sigma_column="altitude_max_m_sigma"),
            column("vertical_speed_max_mps", "Maximum vertical speed", "m/s", "Maxima", 1,
                   sigma_column="vertical_speed_max_mps_sigma"),
            column("drogue_rate_mps", "Descent rate, drogue", "m/s", "Flight figures", 1, "Mean"),
            column("main_rate_mps", "Descent rate, main", "m/s", "Flight figures", 1, "Mean"),
            column("ground_distance_m", "Distance from the pad", "m", "Flight figures", 0,
                   "Horizontal, to the newest GNSS fix")]),
        table(6, "sanderling/estimate/navigation", "Navigation", "estimate", 0, 0.04, [
            words("mode", "Navigation mode", "Navigation", "", "aligning", "at rest", "GNSS-aided",
                  "dead reckoning", "lost", "vertical only", "aided, no attitude"),
            *with_sigma("east_m", "East of the pad", "m", "Navigation", 1, 1),
            *with_sigma("north_m", "North of the pad", "m", "Navigation", 1, 1),
            *with_sigma("up_m", "Altitude AGL", "m", "Navigation", 1, 1),
            *with_sigma("velocity_up_mps", "Velocity up", "m/s", "Navigation", 1, 2),
            health("fix_health", "GNSS fixes", "Navigation"),
            health("height_health", "Pressure altitude", "")]),
        table(7, "sanderling/estimate/look_angles", "Look angles from the station", "estimate", 0, 0.04, [
            *with_sigma("azimuth_deg", "Azimuth, true", "deg", "Antenna", 1, 2, "Clockwise from true north"),
            column("azimuth_magnetic_deg", "Azimuth, magnetic", "deg", "Antenna", 1, "Clockwise from magnetic north",
                   sigma_column="azimuth_deg_sigma"),
            *with_sigma("elevation_deg", "Elevation", "deg", "Antenna", 1, 2, "Above the horizon"),
            *with_sigma("slant_range_m", "Slant range", "m", "Antenna", 0, 1),
            column("pointing_half_beams", "Pointing error", "1", "Antenna", 2,
                   "1-sigma, in half beamwidths; below 1 the vehicle is in the beam")]),
        table(8, "sanderling/estimate/onboard_comparison", "Ground \u2212 on board", "estimate", 0, 0.1, [
            *with_sigma("altitude_m", "Altitude AGL", "m", "Ground \u2212 on board", 1, 1),
            *with_sigma("vertical_speed_mps", "Vertical speed", "m/s", "Ground \u2212 on board", 2, 2),
            *with_sigma("long_axis_deg", "Pointing", "deg", "Ground \u2212 on board", 1, 1,
                        "Angle between the two pointing directions")]),
        table(9, "sanderling/estimate/ascent", "Predicted apogee", "estimate", 0, 0.5, [
            *with_sigma("apogee_m", "Predicted apogee AGL", "m", "Prediction", 0, 1, "Mean",
                        interval=["apogee_low_m", "apogee_high_m"]),
            column("apogee_low_m", "Apogee AGL, low", "m", "Prediction", 0, "5 % of predicted flights stay below"),
            column("apogee_high_m", "Apogee AGL, high", "m", "Prediction", 0, "5 % of predicted flights go above"),
            column("apogee_in_s", "Time to apogee", "s", "Prediction", 1, "Mean; on the rail, from ignition",
                   interval=["apogee_in_low_s", "apogee_in_high_s"]),
            column("apogee_in_low_s", "Time to apogee, low", "s", "", 1, "5 % of predicted flights are earlier"),
            column("apogee_in_high_s", "Time to apogee, high", "s", "", 1, "5 % of predicted flights are later")]),
        table(10, "sanderling/estimate/landing", "Predicted landing", "estimate", 0, 0.5, [
            *landing_case("nominal", "Nominal", "Prediction"), *landing_case("late_opening", "Drogue late", ""),
            *landing_case("drogue_fails", "Drogue fails", ""), *landing_case("main_fails", "Main fails", ""),
            *landing_case("main_at_apogee", "Main at apogee", ""),
            *landing_case("no_parachute", "No parachute (ballistic)", ""),
            words("likeliest", "Likeliest case", "Prediction", "Of the landing cases", "nominal", "drogue late",
                  "drogue fails", "main fails", "main at apogee", "no parachute (ballistic)"),
            column("outside", "Landing outside the boundary", "{fraction}", "Prediction", 3,
                   "Probability over all cases; advisory, the range safety officer decides"),
            words("terrain", "Ground", "Prediction", "Ground the landing prediction assumes", "flat", "height grid")]),
        table(11, "sanderling/procedure/bench", "Bench check", "estimate", 0, 0, [
            *of_check("level", "Level", "m/s2", 2, "A tilted bench reads as a bias"),
            *of_check("pulse_back", "Pressure back", "s", 3),
            *of_check("clear", "Bench clear", "1", 0)]),
        table(12, "sanderling/readiness", "Readiness", "estimate", 0, 1.0, [
            *of_check("wind_gust", "Wind, gust", "m/s", 1, "The safety code has a limit"),
            words("ready", "Ready", "", "Every must-check holds and every position says go", "not ready", "ready")]),
    ],
}
write_json("hello", {"type": "hello", "version": 1, "role": "viewer", "server_id": "0123456789abcdef0123456789abcdef",
                     "description": DESCRIPTION, "roles": ROLES, "mode": "live",
                     "latest": [{"table": 0, "t_s": 12.5, "values": [9.75, None]},
                                {"table": 2, "t_s": 12.4, "values": [1034.5, 0.5, -2.25, 0.25, 1.0]}]})



def event(name, event_id, t_s, t_found_s, t_sigma_s, kind, key, text, data, level="note", advice=""):
    t_ns, t_found_ns = (T_START_NS + round(t * 1_000_000_000) for t in (t_s, t_found_s))
    number = fnv1a_53(struct.pack("<qq", t_ns, t_found_ns) + key.encode() + b"\0" + text.encode())
    write_json(name, {"type": "event", "id": number, "event": event_id, "t_s": t_s, "t_found_s": t_found_s,
                      "t_sigma_s": t_sigma_s, "kind": kind, "level": level, "vehicle": 0, "key": key, "text": text,
                      "advice": advice, "data": data})


event("event", "phase_began", 3.25, 3.5, 0.01, "phase", "sanderling/phase/under_thrust", "under thrust",
      {"phase": "under thrust"})
event("event_missing", "estimate_missing", 0.0, 0.0, 0.0, "recording", "sanderling/missing/air",
      "No air-data estimate: needs static pressure",
      {"estimate": "air", "needs": ["static_pressure"], "any": False})
BELOW = {"title": "Static pressure", "side": "low", "value": 49000.0, "limit": 50000.0, "unit": "Pa", "decimals": 0.0}
event("event_raised", "limit", 6.0, 7.0, 0.0, "alert_raised", "sanderling/limit/baro.static_pressure/low",
      "Static pressure low: 490.00 hPa, limit 500.00 hPa", BELOW, "advisory", "Look at the barometer")
DECIDED = {"procedure": "bench", "check": "level", "title": "Level", "state": "fails", "measured": 0.5, "limit": 0.25,
           "margin": -0.25, "required": "\u00b1 0.25 m/s\u00b2", "unit": "m/s2", "decimals": 2.0, "why": ""}
event("event_check", "check_decided", 7.0, 7.0, 0.0, "procedure", "sanderling/check/bench/level",
      "Level: fails, 0.50 m/s\u00b2, required \u00b1 0.25 m/s\u00b2", DECIDED)
write_json("status", {"type": "status", "t_s": 12.75, "links": [
    {"name": "radio", "state": "no_data", "detail": "no bytes for 3.2 s", "bytes": 123456, "t_last_s": 9.5},
    {"name": "spare", "state": "cannot_open", "detail": "/dev/ttyUSB1: no such file", "bytes": 0, "t_last_s": None}],
    "recorder": {"recording": True, "fault": "", "queue_bytes": 0, "dropped_bytes": 0, "file_bytes": 81920,
                 "disk_free_bytes": 1000000000}, "viewers": 3,
    "audience": {"operators": 1, "replays": 1, "answer_s": 0.31, "left_out": 14, "behind": 1}, "utc_ns": str(T_START_NS + 12_750_000_000)})
write_json("gap", {"type": "gap", "from_seq": 101, "to_seq": 180, "from_t_s": 4.0, "to_t_s": 4.75})
write_json("replay", {"type": "replay", "cursor_s": 4.5, "playing": True, "rate": 2.5, "t_end_s": 12.5})
write_json("replay_seek", {"type": "replay", "request": 9, "cursor_s": 4.5, "playing": False, "rate": 1.0, "t_end_s": 12.5,
                           "latest": [{"table": 1, "t_s": 4.48, "values": [87850.0]}]})
write_json("led", {"type": "led", "recording": "2026-05-17T143205Z-sanderling", "t_s": 4.5, "playing": True, "rate": 0.5,
                   "by": "KL"})
write_json("session", {"type": "session", "role": "operator"})
write_json("error", {"type": "error", "request": 8,
                     "message": "seek needs 't_s', a number of seconds since the recording's start"})
