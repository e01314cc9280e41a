// An invented flight as functions of time. Shapes are plausible, not physics: the simulator in tools/ is for that.
/** `--ballistic`: no parachute opens. */
export const kBallistic = process.argv.includes('--ballistic');
/** `--ground`: nothing flies; see ground.mjs. */
export const kGround = process.argv.includes('--ground');
const kNever_s = 1e6;
export const kLiftoff_s = kGround ? kNever_s : 20;
export const kFlightEnd_s = kGround ? 7200 : 175;
const kStep = 0.005;

function integrate() {
    const n = Math.ceil(Math.min(175, kFlightEnd_s) / kStep);
    const altitude = new Float64Array(n);
    const speed = new Float64Array(n);
    const accel = new Float64Array(n);
    let h = 0;
    let v = 0;
    for (let i = 1; i < n; i++) {
        const t = i * kStep - kLiftoff_s;
        let a = 0;
        if (t >= 0 && t < 2.1) a = 92 - 6 * t - 9.81 - 0.0007 * v * Math.abs(v);
        else if (t >= 2.1 && v > 0.2 && h > 1) a = -9.81 - 0.0011 * v * Math.abs(v);
        else if (kBallistic && h > 0.5 && t > 2.1) a = -9.81 - 0.0004 * v * Math.abs(v);
        else if (h > 0.5 && t > 2.1) {
            const terminal = h > 150 ? -21 : -5.6;
            a = (terminal - v) * (h > 150 ? 1.2 : 1.6);
        } else if (t > 2.1) {
            v = 0;
            h = 0;
        }
        v += a * kStep;
        h = Math.max(0, h + v * kStep);
        altitude[i] = h;
        speed[i] = v;
        accel[i] = a + 9.81;
    }
    return { altitude, speed, accel };
}

export const truth = integrate();
export const at = (array, t) => array[Math.min(array.length - 1, Math.max(0, Math.round(t / kStep)))];
export const apogee_t = kGround ? kNever_s + 20 : truth.altitude.indexOf(Math.max(...truth.altitude)) * kStep;
export const main_t = kGround
    ? kNever_s + 60
    : truth.altitude.findIndex((h, i) => i * kStep > apogee_t && h < 150) * kStep;
export const touchdown_t = kGround
    ? kNever_s + 90
    : truth.altitude.findIndex((h, i) => i * kStep > apogee_t && h <= 0.5) * kStep;

/** Repeatable noise, about normal, of a time and a lane. */
export function noise(t, lane) {
    let sum = 0;
    for (let k = 0; k < 3; k++) {
        const s = Math.sin((t * 1000 + 17.3 * lane + 5.1 * k) * 12.9898 + lane * 78.233) * 43758.5453;
        sum += s - Math.floor(s) - 0.5;
    }
    return sum * 1.6;
}

/** When each phase begins; the drogue is out at once, so that nothing falls without a parachute. */
export const phases = [
    [-Infinity, 'on the rail'],
    [kLiftoff_s, 'under thrust'],
    [kLiftoff_s + 2.1, 'coasting'],
    ...(kBallistic
        ? [[apogee_t, 'falling (no parachute)']]
        : [
              [apogee_t, 'under drogue'],
              [main_t, 'under main'],
          ]),
    [touchdown_t, 'down'],
];
export const phase_at = (t) => phases.findLast(([begin_s]) => begin_s <= t)[1];
/** What the vehicle says: waiting, flying up, flying down, down. */
export const onboard_phase_at = (t) => (t < kLiftoff_s ? 0 : t < apogee_t ? 1 : t < touchdown_t ? 2 : 3);
/** Whether the link is silent. */
export const fade = (t) => !kGround && ((t > 61 && t < 64.2) || (t > 118 && t < 119.5));
/** From 0 at rest to 1 under full thrust. */
export const flying = (t) => Math.min(1, Math.max(0, at(truth.accel, t) / 40));
export const kApogee_m = Math.max(...truth.altitude);
/** Metres east and north of the pad. */
export function place(t) {
    const up = Math.min(1, Math.max(0, (t - kLiftoff_s) / (apogee_t - kLiftoff_s)));
    const drift = Math.min(touchdown_t, Math.max(apogee_t, t)) - apogee_t;
    return [-110 * up + 6.1 * drift, -40 * up + 2.2 * drift];
}
