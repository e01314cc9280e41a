#!/usr/bin/env python3
"""Writes plover/flight.txt and whimbrel/flight.bin beside this file: invented captures of a sender of lines and of one of
binary frames, the same at every run. A rocket straight up, by Newton's law with a drag that goes with the square of the
speed; a balloon that rises and drifts evenly."""
import math
import random
import struct
from pathlib import Path

HERE = Path(__file__).parent
GRAVITY, PAD_PA, PAD_K, PAD_MSL = 9.80665, 90420.0, 296.8, 954.0
PAD_DEG = (-21.3846, 23.1752)
REST_S, AFTER_S = 40.0, 30.0


def pressure(height_m):
    """ISO 2533, a layer with a lapse rate of 6.5 K/km, from the pad's pressure and temperature."""
    return PAD_PA * (1 - 0.0065 * height_m / PAD_K) ** (GRAVITY / (287.053 * 0.0065))


def density(height_m):
    return pressure(height_m) / (287.053 * (PAD_K - 0.0065 * height_m))


def thrust(t):
    points = [(0, 0), (0.03, 92), (0.9, 84), (1.1, 60), (1.2, 0)]
    for (a, fa), (b, fb) in zip(points, points[1:]):
        if a <= t < b:
            return fa + (fb - fa) * (t - a) / (b - a)
    return 0.0


def plover():
    noise = random.Random(20)
    lines, h, v, t, opened, apogee, landed = [], 0.0, 0.0, -REST_S, None, None, None
    step, every = 0.001, 200
    for k in range(int((REST_S + 300) / step)):
        mass = 0.95 + 0.06 * max(0.0, 1 - max(t, 0) / 1.2)
        area = 0.22 if opened is not None and t >= opened else 0.55 * 0.00229
        drag = -0.5 * density(h) * area * v * abs(v)
        force = thrust(t) + drag
        specific = force / mass
        if landed is not None or (t < 0 or (h <= 0 and force < mass * GRAVITY)):
            specific, v = GRAVITY, 0.0
        else:
            v += (force / mass - GRAVITY) * step
            h += v * step
        if t > 1 and v < 0 and opened is None:
            apogee, opened = h, t + 0.6
        if opened is not None and h <= 0 and landed is None:
            landed, h = t, 0.0
        if k % every == 0:
            state = "waiting" if t < 0 else "up" if opened is None else "down" if landed is None else "lies"
            body = "%d,%.0f,%.1f,%.2f,%.2f,%s" % (
                round(1000 * (t + REST_S + 5)), pressure(h) + noise.gauss(0, 8), PAD_K - 273.15 - 0.0065 * h + noise.gauss(0, 0.1),
                specific / GRAVITY + noise.gauss(0, 0.04), 4.05 - 0.0004 * (t + REST_S), state)
            check = 0
            for octet in body.encode("ascii"):
                check ^= octet
            lines.append("%s*%02X\n" % (body, check))
        if landed is not None and t > landed + AFTER_S:
            break
        t += step
    (HERE / "plover/flight.txt").write_text("".join(lines), encoding="ascii")
    return len(lines), apogee, landed


def crc16(data):
    """CRC-16/IBM-3740: polynomial 1021, from FFFF."""
    value = 0xFFFF
    for octet in data:
        value ^= octet << 8
        for _ in range(8):
            value = (value << 1) ^ 0x1021 if value & 0x8000 else value << 1
    return value & 0xFFFF


def frame(payload):
    covered = struct.pack(">B", len(payload)) + payload
    return b"\xEB\x90" + covered + struct.pack(">H", crc16(covered))


def whimbrel():
    noise = random.Random(21)
    out, frames = bytearray(), 0
    east, north, up = 3.2, 1.4, 4.8
    for second in range(300):
        risen = max(0, second - 60)
        up_now = up if risen > 0 else 0.0
        latitude = PAD_DEG[0] + north * risen / 110_700 + noise.gauss(0, 1e-5)
        longitude = PAD_DEG[1] + east * risen / (111_320 * math.cos(math.radians(PAD_DEG[0]))) + noise.gauss(0, 1e-5)
        height = PAD_MSL + up * risen + noise.gauss(0, 2)
        moving = 1 if risen > 0 else 0
        speeds = [round(100 * (one * moving + noise.gauss(0, 0.1))) for one in (east, north)] + [round(100 * (up_now + noise.gauss(0, 0.1)))]
        out += frame(struct.pack(">BIiiihhhBB", 1, 1000 * second + 4000, round(1e7 * latitude), round(1e7 * longitude), round(1000 * height), *speeds, 3, 11))
        frames += 1
        if second % 5 == 0:
            out += frame(struct.pack(">BIHh", 2, 1000 * second + 4200, round(3100 - 0.4 * second), round(100 * (18 - 0.02 * second))))
            frames += 1
    (HERE / "whimbrel/flight.bin").write_bytes(out)
    return frames, PAD_MSL + up * 239


if __name__ == "__main__":
    print("plover: %d lines, apogee %.1f m, down %.1f s after liftoff" % plover())
    print("whimbrel: %d frames, up to %.1f m MSL" % whimbrel())
