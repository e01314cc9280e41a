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
    (2, [3.04, 2.96], [[120.75, 118.5], [55.25, NAN], [0.5, 0.5], [0.25, 0.25]]),
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

COLUMN = {"name": "", "description": "", "unit": "1", "group": "", "decimals": 2, "range": None, "enumeration": None,
          "role": None, "sigma_column": None, "text": False}


def column(**members):
    return {**COLUMN, **members}


DESCRIPTION = {
    "version": 1,
    "recording": {"id": "2026-05-17T143205Z-sanderling", "name": "First light", "notes": "", "t_start_ns": str(T_START_NS),
                  "utc_start_ns": str(T_START_NS), "t_end_s": 12.5, "live": True, "closed": False, "file_bytes": 81920,
                  "damage": ""},
    "software": "0.1.0",
    "site": {"name": "Lantern Playa", "pad": {"latitude_deg": 40.1023, "longitude_deg": -117.9206, "height_m": 1187.0},
             "station": {"latitude_deg": 40.1001, "longitude_deg": -117.9229, "height_m": 1187.5},
             "declination_deg": 12.4, "boundary": [[40.0905, -117.939], [40.0912, -117.9012], [40.1098, -117.8975]],
             "has_terrain": False},
    "vehicles": [{"name": "sanderling", "title": "Sanderling", "dictionary_version": "1.0.0", "has_rocket": True}],
    "links": [{"name": "radio", "uri": "serial:/dev/ttyUSB0?baud=57600", "vehicle": 0}],
    "tables": [
        {"id": 0, "name": "sanderling/imu.samples", "title": "Inertial samples", "kind": "batch", "vehicle": 0,
         "period_s": 0.005, "columns": [
             column(name="accel_body_x", description="Specific force along the long axis", unit="m/s2", group="Inertial",
                    range=[-160.0, 160.0], role="accel_body_x"),
             column(name="rate_body_x", description="Roll rate", unit="rad/s", group="Inertial", decimals=3,
                    role="rate_body_x")]},
        {"id": 1, "name": "sanderling/baro", "title": "Barometer", "kind": "packet", "vehicle": 0, "period_s": 0.04,
         "columns": [
             column(name="static_pressure", description="Static pressure", unit="Pa", group="Air data", decimals=0,
                    role="static_pressure"),
             column(name="note", description="Sensor's word", text=True, decimals=0)]},
        {"id": 2, "name": "sanderling/estimate/vertical", "title": "Vertical", "kind": "estimate", "vehicle": 0,
         "period_s": 0.1, "columns": [
             column(name="altitude_m", description="Above the pad", unit="m", group="Vertical", decimals=1,
                    sigma_column="altitude_sigma_m"),
             column(name="vertical_speed_mps", description="Up positive", unit="m/s", group="Vertical", decimals=1,
                    sigma_column="vertical_speed_sigma_mps"),
             column(name="altitude_sigma_m", description="1-sigma", unit="m"),
             column(name="vertical_speed_sigma_mps", description="1-sigma", unit="m/s")]},
        {"id": 3, "name": "link/radio", "title": "radio", "kind": "link", "vehicle": -1, "period_s": 1.0, "columns": [
            column(name="state", description="State of the link", decimals=0, enumeration={"0": "opening", "1": "open"})]},
    ],
}
write_json("hello", {"type": "hello", "version": 1, "role": "viewer", "server_id": "0123456789abcdef0123456789abcdef",
                     "description": DESCRIPTION, "mode": "live",
                     "latest": [{"table": 0, "t_s": 12.5, "values": [9.75, None]},
                                {"table": 2, "t_s": 12.4, "values": [1034.5, -2.25, 0.5, 0.25]}]})

event_text = "Powered ascent"
event_key = "sanderling/phase/powered_ascent"
t_ns, t_found_ns = T_START_NS + 3_250_000_000, T_START_NS + 3_500_000_000
event_id = fnv1a_53(struct.pack("<qq", t_ns, t_found_ns) + event_key.encode() + b"\0" + event_text.encode())
write_json("event", {"type": "event", "id": event_id, "t_s": 3.25, "t_found_s": 3.5, "t_sigma_s": 0.01, "kind": "phase",
                     "level": "note", "vehicle": 0, "key": event_key, "text": event_text, "data": {"acceleration_mps2": 96.5}})
write_json("status", {"type": "status", "t_s": 12.75, "links": [
    {"name": "radio", "state": "silent", "detail": "no bytes for 3.2 s", "bytes": 123456, "t_last_s": 9.5},
    {"name": "spare", "state": "refused", "detail": "/dev/ttyUSB1: no such file", "bytes": 0, "t_last_s": None}],
    "recorder": {"recording": True, "fault": "", "queue_bytes": 0, "dropped_bytes": 0, "file_bytes": 81920,
                 "disk_free_bytes": 1000000000}, "viewers": 3, "utc_ns": str(T_START_NS + 12_750_000_000)})
write_json("gap", {"type": "gap", "from_seq": 101, "to_seq": 180, "from_t_s": 4.0, "to_t_s": 4.75})
write_json("replay", {"type": "replay", "cursor_s": 4.5, "playing": True, "rate": 2.5, "t_end_s": 12.5})
write_json("replay_seek", {"type": "replay", "request": 9, "cursor_s": 4.5, "playing": False, "rate": 1.0, "t_end_s": 12.5,
                           "latest": [{"table": 1, "t_s": 4.48, "values": [87850.0]}]})
write_json("error", {"type": "error", "request": 8,
                     "message": "seek needs 't_s', a number of seconds since the recording's start"})
