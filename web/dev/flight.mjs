// An invented flight for looking at the dashboard without a server: tables, rows and events of protocol/STREAM.md, all a
// function of time. Shapes are plausible, not physics: the simulator in tools/ is for that.
const kPad = 20;
const kStep = 0.005;
export const kFlightEnd = 175;

function integrate() {
    const n = Math.ceil(kFlightEnd / kStep);
    const altitude = new Float64Array(n);
    const speed = new Float64Array(n);
    const accel = new Float64Array(n);
    let h = 0;
    let v = 0;
    for (let i = 1; i < n; i++) {
        const t = i * kStep - kPad;
        let a = 0;
        if (t >= 0 && t < 2.1) a = 92 - 6 * t - 9.81 - 0.0007 * v * Math.abs(v);
        else if (t >= 2.1 && v > 0.2 && h > 1) a = -9.81 - 0.0011 * v * Math.abs(v);
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

const truth = integrate();
const at = (array, t) => array[Math.min(array.length - 1, Math.max(0, Math.round(t / kStep)))];
const apogee_t = truth.altitude.indexOf(Math.max(...truth.altitude)) * kStep;
const main_t = truth.altitude.findIndex((h, i) => i * kStep > apogee_t && h < 150) * kStep;
const landed_t = truth.altitude.findIndex((h, i) => i * kStep > apogee_t && h <= 0.5) * kStep;

/** Repeatable noise, about normal, of a time and a lane. */
function noise(t, lane) {
    let sum = 0;
    for (let k = 0; k < 3; k++) {
        const s = Math.sin((t * 1000 + 17.3 * lane + 5.1 * k) * 12.9898 + lane * 78.233) * 43758.5453;
        sum += s - Math.floor(s) - 0.5;
    }
    return sum * 1.6;
}

const phase_at = (t) => (t < kPad ? 0 : t < kPad + 2.1 ? 1 : t < apogee_t ? 2 : t < main_t ? 3 : t < landed_t ? 4 : 5);
const fade = (t) => (t > 61 && t < 64.2) || (t > 118 && t < 119.5);
const column = (name, unit, group, decimals, more = {}) => ({
    name,
    description: name.replace(/_/g, ' '),
    unit,
    group,
    decimals,
    range: null,
    enumeration: {},
    role: null,
    sigma_column: null,
    text: false,
    ...more,
});
const kPhases = {
    0: 'on the pad',
    1: 'powered ascent',
    2: 'coast',
    3: 'drogue descent',
    4: 'main descent',
    5: 'landed',
};
const flying = (t) => Math.min(1, Math.max(0, at(truth.accel, t) / 40));
const v = 'sanderling';
const kApogee = Math.max(...truth.altitude);
const kHealth = { 0: 'starting', 1: 'consistent', 2: 'cautious', 3: 'overconfident' };
/** Metres east and north of the pad. */
function place(t) {
    const up = Math.min(1, Math.max(0, (t - kPad) / (apogee_t - kPad)));
    const drift = Math.min(landed_t, Math.max(apogee_t, t)) - apogee_t;
    return [-110 * up + 6.1 * drift, -40 * up + 2.2 * drift];
}

export const tables = [
    {
        name: `${v}/imu.samples`,
        title: 'Inertial samples',
        kind: 'batch',
        period_s: 0.005,
        columns: ['x', 'y', 'z']
            .map((axis) =>
                column(`accel_body_${axis}`, 'm/s2', 'Inertial', 2, { range: [-160, 160], role: `accel_body_${axis}` }),
            )
            .concat(
                ['x', 'y', 'z'].map((axis) =>
                    column(`rate_body_${axis}`, 'rad/s', 'Inertial', 2, {
                        range: [-35, 35],
                        role: `rate_body_${axis}`,
                    }),
                ),
            ),
        row: (t) => {
            const shock = Math.abs(t - apogee_t - 0.4) < 0.03 ? 120 : 0;
            const swing = t > apogee_t && t < landed_t ? 1 : 0;
            return [
                at(truth.accel, t) + noise(t, 1) * (0.05 + 3 * flying(t)) - shock,
                noise(t, 2) * (0.05 + 2 * flying(t)) + swing * 3 * Math.sin(t * 2.1),
                noise(t, 3) * (0.05 + 2 * flying(t)) + swing * 3 * Math.cos(t * 1.7),
                (t > kPad && t < apogee_t ? 6 * (1 - Math.exp(-(t - kPad) / 1.5)) : 0) + noise(t, 4) * 0.02,
                noise(t, 5) * 0.02 + swing * 0.9 * Math.sin(t * 1.9),
                noise(t, 6) * 0.02 + swing * 0.8 * Math.cos(t * 2.3),
            ];
        },
    },
    {
        name: `${v}/baro`,
        title: 'Barometer',
        kind: 'packet',
        period_s: 0.04,
        columns: [
            column('static_pressure', 'Pa', 'Air data', 0, { range: [30000, 110000], role: 'static_pressure' }),
            column('air_temperature', 'K', 'Air data', 1, { range: [233, 358], role: 'air_temperature' }),
        ],
        row: (t) => [
            87850 - 10.4 * at(truth.altitude, t) + noise(t, 7) * 3 + (Math.abs(t - apogee_t - 0.4) < 0.1 ? 900 : 0),
            296.4 - 0.0065 * at(truth.altitude, t) + 0.02 * noise(t, 8) + t * 0.01,
        ],
    },
    {
        name: `${v}/fix`,
        title: 'Satellite position fix',
        kind: 'packet',
        period_s: 0.2,
        columns: [
            column('latitude', 'deg', 'Position', 6, { role: 'latitude' }),
            column('longitude', 'deg', 'Position', 6, { role: 'longitude' }),
            column('height_msl', 'm', 'Position', 1, { role: 'height_msl' }),
            column('velocity_east', 'm/s', 'Position', 2),
            column('velocity_north', 'm/s', 'Position', 2),
            column('velocity_up', 'm/s', 'Position', 2),
            column('fix_type', '1', 'Position', 0, { enumeration: { 0: 'none', 2: '2D', 3: '3D' }, role: 'fix_type' }),
            column('satellites_used', '1', 'Position', 0, { range: [4, 40], role: 'satellites_used' }),
        ],
        row: (t) => {
            const drift = t > apogee_t ? Math.min(t, landed_t) - apogee_t : 0;
            const lost = t > kPad + 0.3 && t < kPad + 3;
            const east = drift > 0 && t < landed_t ? 5 : 0;
            return [
                40.1023 + drift * 9e-6,
                -117.9206 + drift * 5.9e-5,
                1210 + at(truth.altitude, t) + noise(t, 9),
                east + 0.1 * noise(t, 10),
                east * 0.2 + 0.1 * noise(t, 11),
                at(truth.speed, t) + 0.2 * noise(t, 12),
                lost ? 0 : 3,
                lost ? 3 : 14 + Math.round(Math.sin(t / 9) * 2),
            ];
        },
    },
    {
        name: `${v}/health`,
        title: 'Health',
        kind: 'packet',
        period_s: 0.5,
        columns: [
            column('battery_voltage', 'V', 'Health', 2, { range: [6.6, 8.6], role: 'battery_voltage' }),
            column('continuity_drogue', '1', 'Health', 0, {
                enumeration: { 0: 'open', 1: 'good' },
                role: 'pyro_continuity',
            }),
            column('continuity_main', '1', 'Health', 0, {
                enumeration: { 0: 'open', 1: 'good' },
                role: 'pyro_continuity',
            }),
            column('free_storage', 'By', 'Health', 0),
        ],
        row: (t) => [
            7.92 - t * 0.0012 + 0.005 * noise(t, 13) - (Math.abs(t - apogee_t - 0.4) < 0.6 ? 0.45 : 0),
            t > apogee_t + 0.4 ? 0 : 1,
            t > main_t ? 0 : 1,
            3.2e9 - 65536 * Math.floor(t),
        ],
    },
    {
        name: `${v}/nav`,
        title: 'On-board estimate',
        kind: 'packet',
        period_s: 0.1,
        columns: [
            column('onboard_phase', '1', 'On-board estimate', 0, {
                enumeration: { ...kPhases, 0: 'pad' },
                role: 'onboard_phase',
            }),
            column('onboard_altitude', 'm', 'On-board estimate', 1, { role: 'onboard_altitude' }),
            column('onboard_vertical_speed', 'm/s', 'On-board estimate', 1, { role: 'onboard_vertical_speed' }),
        ],
        row: (t) => [
            phase_at(t - 0.3),
            at(truth.altitude, t) * 1.012 + noise(t, 14) * 0.8,
            at(truth.speed, t) + noise(t, 15) * 0.7,
        ],
    },
    {
        name: `${v}/estimate/vertical`,
        title: 'Vertical filter',
        kind: 'estimate',
        period_s: 0.1,
        columns: [
            column('altitude_m', 'm', 'Vertical', 1, { sigma_column: 'altitude_m_sigma' }),
            column('altitude_m_sigma', 'm', 'Vertical', 1),
            column('vertical_speed_mps', 'm/s', 'Vertical', 1, { sigma_column: 'vertical_speed_mps_sigma' }),
            column('vertical_speed_mps_sigma', 'm/s', 'Vertical', 1),
            column('health', '1', 'Health', 0, {
                enumeration: { 0: 'starting', 1: 'consistent', 2: 'sigmas too large', 3: 'do not believe' },
            }),
        ],
        row: (t) => {
            const spread = 0.4 + 6 * flying(t) + (fade(t) ? 4 : 0);
            return [
                at(truth.altitude, t) + noise(t, 16) * 0.2,
                spread,
                at(truth.speed, t) + noise(t, 17) * 0.1,
                0.2 + 0.35 * spread,
                t < 5 ? 0 : 1,
            ];
        },
    },
    {
        name: `${v}/estimate/phase`,
        title: 'Phase',
        kind: 'estimate',
        period_s: 1,
        columns: [
            column('phase', '1', 'Flight', 0, { enumeration: kPhases }),
            column('time_since_lift_off_s', 's', 'Flight', 1),
        ],
        row: (t) => [phase_at(t), t < kPad ? NaN : t - kPad],
    },
    {
        name: `${v}/estimate/derived`,
        title: 'Figures of the flight',
        kind: 'estimate',
        period_s: 1,
        columns: [
            column('altitude_max_m', 'm', 'Greatest values', 1),
            column('ground_distance_m', 'm', 'Flight figures', 0),
        ],
        row: (t) => [t < kPad ? NaN : t < apogee_t ? at(truth.altitude, t) : kApogee, Math.hypot(...place(t))],
    },
    {
        name: `${v}/estimate/navigation`,
        title: 'Navigation',
        kind: 'estimate',
        period_s: 0.04,
        columns: [
            column('mode', '1', 'Navigation', 0, {
                enumeration: {
                    0: 'aligning',
                    1: 'on the pad',
                    2: 'aided',
                    3: 'dead reckoning',
                    4: 'lost',
                    5: 'vertical only',
                },
            }),
            ...['east_m', 'north_m', 'up_m'].map((name) =>
                column(name, 'm', 'Navigation', 1, { sigma_column: `${name}_sigma` }),
            ),
            ...['east_m', 'north_m', 'up_m'].map((name) => column(`${name}_sigma`, 'm', '', 1)),
            column('fix_health', '1', 'Navigation', 0, { enumeration: kHealth }),
            column('height_health', '1', '', 0, { enumeration: kHealth }),
        ],
        row: (t) => {
            const [east, north] = place(t);
            const spread = fade(t) ? 9 : 1.4;
            return [
                t < 8 ? 0 : t < kPad ? 1 : fade(t) ? 3 : 2,
                east + 0.3 * noise(t, 20),
                north + 0.3 * noise(t, 21),
                at(truth.altitude, t),
                spread,
                spread,
                2.1,
                t < 30 ? 0 : 1,
                t < 40 ? 0 : 2,
            ];
        },
    },
    {
        name: `${v}/estimate/look`,
        title: 'Look angles from the station',
        kind: 'estimate',
        period_s: 0.04,
        columns: [
            column('azimuth_true_deg', 'deg', 'Antenna', 1, { sigma_column: 'azimuth_deg_sigma' }),
            column('azimuth_magnetic_deg', 'deg', 'Antenna', 1, { sigma_column: 'azimuth_deg_sigma' }),
            column('azimuth_deg_sigma', 'deg', '', 2),
            column('elevation_deg', 'deg', 'Antenna', 1, { sigma_column: 'elevation_deg_sigma' }),
            column('elevation_deg_sigma', 'deg', '', 2),
            column('slant_range_m', 'm', 'Antenna', 0, { sigma_column: 'slant_range_m_sigma' }),
            column('slant_range_m_sigma', 'm', '', 1),
            column('pointing_half_beams', '1', 'Antenna', 2),
        ],
        row: (t) => {
            const [east, north] = place(t).map((metres, i) => metres + (i === 0 ? 196 : 244));
            const azimuth = (Math.atan2(east, north) * 180) / Math.PI;
            const flat = Math.hypot(east, north);
            return [
                (azimuth + 360) % 360,
                (azimuth + 347.6) % 360,
                0.24,
                (Math.atan2(at(truth.altitude, t), flat) * 180) / Math.PI,
                0.3,
                Math.hypot(flat, at(truth.altitude, t)),
                2.4,
                fade(t) ? 1.2 : 0.04,
            ];
        },
    },
    {
        name: `${v}/estimate/compare`,
        title: 'Ground minus on-board',
        kind: 'estimate',
        period_s: 0.1,
        columns: [
            column('altitude_m', 'm', 'Ground minus on-board', 1, { sigma_column: 'altitude_m_sigma' }),
            column('altitude_m_sigma', 'm', '', 1),
            column('vertical_speed_mps', 'm/s', 'Ground minus on-board', 2, {
                sigma_column: 'vertical_speed_mps_sigma',
            }),
            column('vertical_speed_mps_sigma', 'm/s', '', 2),
            column('long_axis_deg', 'deg', 'Ground minus on-board', 1, { sigma_column: 'long_axis_deg_sigma' }),
            column('long_axis_deg_sigma', 'deg', '', 1),
        ],
        row: (t) => [
            -0.012 * at(truth.altitude, t) + noise(t, 22),
            1.3,
            noise(t, 23) * 0.7,
            0.4,
            1.1 + 0.3 * noise(t, 24),
            0.9,
        ],
    },
    {
        name: `${v}/estimate/ascent`,
        title: 'Predicted apogee',
        kind: 'estimate',
        period_s: 0.5,
        until: apogee_t,
        pad_period_s: 10,
        columns: [
            column('apogee_m', 'm', 'Prediction', 0, { sigma_column: 'apogee_m_sigma' }),
            column('apogee_m_sigma', 'm', '', 1),
            column('apogee_low_m', 'm', 'Prediction', 0),
            column('apogee_high_m', 'm', 'Prediction', 0),
            column('apogee_in_s', 's', 'Prediction', 1),
        ],
        row: (t) => {
            const spread = t < kPad ? 41 : 41 * Math.max(0.04, (apogee_t - t) / (apogee_t - kPad));
            const mean = kApogee + spread * 0.4;
            return [
                mean,
                spread,
                mean - 1.64 * spread,
                mean + 1.64 * spread,
                t < kPad ? apogee_t - kPad : apogee_t - t,
            ];
        },
    },
    {
        name: `${v}/estimate/landing`,
        title: 'Predicted landing',
        kind: 'estimate',
        period_s: 0.5,
        until: landed_t,
        pad_period_s: 10,
        columns: [
            ...['nominal', 'first_shut', 'all_shut'].flatMap((name) => [
                column(`${name}_east_m`, 'm', name === 'nominal' ? 'Prediction' : '', 0),
                column(`${name}_north_m`, 'm', name === 'nominal' ? 'Prediction' : '', 0),
                column(`${name}_semi_major_m`, 'm', '', 0),
                column(`${name}_semi_minor_m`, 'm', '', 0),
                column(`${name}_bearing_deg`, 'deg', '', 0),
                column(`${name}_in_s`, 's', '', 0),
                column(`${name}_outside`, '1', '', 3),
            ]),
            column('terrain', '1', 'Prediction', 0, { enumeration: { 0: 'flat', 1: 'height grid' } }),
        ],
        row: (t) => {
            const [east, north] = place(landed_t);
            const left = Math.max(0.05, (landed_t - Math.max(t, kPad)) / (landed_t - kPad));
            const open = t > apogee_t + 0.4;
            const other = (...values) => values.map((value) => (open ? NaN : value));
            return [
                east + 60 * left,
                north,
                240 * left + 8,
                120 * left + 6,
                70,
                landed_t - Math.max(t, kPad),
                0.031 * left,
                ...other(420, 140, 150, 90, 75, 60, 0.004),
                ...other(-190, -60, 130, 80, 250, 26, 0),
                0,
            ];
        },
    },
    {
        name: 'link/radio',
        title: 'Radio',
        kind: 'link',
        period_s: 0.1,
        vehicle: -1,
        columns: [
            column('received', '1', '', 0),
            column('lost', '1', '', 0),
            column('frames_bad', '1', '', 0),
            column('rate_10s', '/s', 'Link', 0),
            column('loss_1s', '1', '', 3),
            column('loss_10s', '1', 'Link', 3, { range: [0, 0.2] }),
            column('age_s', 's', 'Link', 2),
        ],
        row: (t) => [
            Math.floor(t * 96),
            Math.floor(t * 1.7),
            Math.floor(t * 0.4),
            fade(t) ? 0 : 96 + Math.round(noise(t, 18) * 2),
            fade(t) ? 1 : 0.02,
            Math.max(0, 0.018 + 0.01 * noise(Math.floor(t * 2), 19) + (t > 62 && t < 73 ? 0.3 : 0)),
            fade(t) ? 0.4 + (t % 1) : 0.02,
        ],
    },
].map((table, id) => ({ id, vehicle: 0, ...table }));

const event = (id, t_s, kind, level, key, text) => ({
    type: 'event',
    id,
    t_s,
    t_found_s: t_s + 0.08,
    t_sigma_s: 0.02,
    kind,
    level,
    vehicle: kind === 'link_state' ? -1 : 0,
    key,
    text,
    data: {},
});
export const events = [
    event(1, 0.02, 'recording', 'note', 'recording/begun', 'Recording begun'),
    event(2, 0.1, 'phase', 'note', `${v}/phase/on_the_pad`, 'On the pad'),
    event(3, 8.3, 'marker', 'note', 'operator/marker', 'Igniter connected'),
    event(4, kPad, 'phase', 'note', `${v}/phase/powered_ascent`, 'Powered ascent'),
    event(5, kPad + 2.1, 'phase', 'note', `${v}/phase/coast`, 'Coast'),
    event(14, kPad, 'flight_event', 'note', `${v}/flight/lift_off`, 'Lift-off'),
    event(15, kPad + 2.1, 'flight_event', 'note', `${v}/flight/burn_out`, 'Burn-out'),
    event(6, apogee_t, 'flight_event', 'note', `${v}/flight/apogee`, 'Apogee'),
    event(16, apogee_t + 0.4, 'flight_event', 'note', `${v}/flight/drogue_deployment`, 'Drogue deployment'),
    event(17, main_t, 'flight_event', 'note', `${v}/flight/main_deployment`, 'Main deployment'),
    event(18, landed_t, 'flight_event', 'note', `${v}/flight/landing`, 'Landing'),
    event(7, apogee_t + 0.05, 'phase', 'note', `${v}/phase/drogue_descent`, 'Drogue descent'),
    event(8, apogee_t + 0.4, 'flight_event', 'note', `${v}/event/ejection_pulse`, 'Ejection pulse, 9 hPa'),
    event(9, 61.6, 'alert_raised', 'caution', 'link/radio/silent', 'Link radio is silent'),
    event(10, 64.3, 'alert_cleared', 'caution', 'link/radio/silent', 'Link radio is heard again'),
    event(11, main_t, 'phase', 'note', `${v}/phase/main_descent`, 'Main descent'),
    event(
        12,
        104,
        'alert_raised',
        'advisory',
        `${v}/landing/outside`,
        'Landing may be outside the site boundary; the range safety officer decides',
    ),
    event(13, landed_t, 'phase', 'note', `${v}/phase/landed`, 'Landed'),
].sort((a, b) => a.t_s - b.t_s);

/** Rows of a table in [from, to), as [t, values]; what a fade swallowed is missing. */
export function rows(table, from, to) {
    const found = [];
    const first = Math.max(0, Math.ceil(from / table.period_s - 1e-9));
    for (let k = first; k * table.period_s < to; k++) {
        const t = k * table.period_s;
        if (t > (table.until ?? Infinity) || (t < kPad && table.pad_period_s && t % table.pad_period_s !== 0)) continue;
        if (table.kind === 'packet' || table.kind === 'batch') {
            const packet = Math.floor(t / Math.max(0.02, table.period_s));
            if (fade(t) || Math.abs(noise(packet, 40 + table.id)) > 2.1) continue;
        }
        found.push([t, table.row(t)]);
    }
    return found;
}
