// Tables of the invented flight with their rows. Estimators and the link are described by the golden hello, so that the
// stand-in server speaks as the real one does; a vehicle's packets are described here, as a dictionary would.
import { readFileSync } from 'node:fs';
import { tables as ground } from './ground_rows.mjs';
import {
    apogee_t,
    at,
    fade,
    flying,
    kApogee_m,
    kBallistic,
    kGround,
    kLiftoff_s,
    main_t,
    noise,
    onboard_phase_at,
    phase_at,
    place,
    touchdown_t,
    truth,
} from './truth.mjs';

const hello = JSON.parse(readFileSync(new URL('../../tests/golden/stream/hello.json', import.meta.url), 'utf8'));
export const roles = hello.roles;
const kVehicle = 'sanderling';

/** The number that a word has in a column of the golden hello. */
function number_of(estimator, name, word) {
    const table = hello.description.tables.find((one) => one.name === `${kVehicle}/estimate/${estimator}`);
    const { enumeration } = table.columns.find((one) => one.name === name);
    const found = Object.keys(enumeration).find((value) => enumeration[value] === word);
    if (found === undefined) throw new Error(`${estimator}/${name} has no word "${word}"`);
    return Number(found);
}
const health = (word) => number_of('vertical', 'health', word);
const mode = (word) => number_of('navigation', 'mode', word);

const column = (name, title, unit, group, decimals, more = {}) => ({
    name,
    title,
    description: '',
    unit,
    group,
    decimals,
    range: null,
    enumeration: null,
    role: null,
    sigma_column: null,
    interval: null,
    strip: null,
    text: false,
    ...more,
});
const packet = (name, title, period_s, columns, row, kind = 'packet') => ({
    name: `${kVehicle}/${name}`,
    title,
    kind,
    vehicle: 0,
    period_s,
    columns,
    row,
});
const kAxes = ['x', 'y', 'z'];
const on_strip = (title, line) => ({ strip: { title, line } });
const kGood = { 0: 'open', 1: 'good' };
const drift_s = (t) => (t > apogee_t ? Math.min(t, touchdown_t) - apogee_t : 0);
const charge = (t, from_s = apogee_t + 0.4) => Math.abs(t - from_s);

const packets = [
    packet(
        'imu.samples',
        'Inertial samples',
        0.005,
        [
            ...kAxes.map((axis) =>
                column(
                    `accel_body_${axis}`,
                    axis === 'x' ? 'Axial acceleration' : `Acceleration, body ${axis}`,
                    'm/s2',
                    'Inertial',
                    2,
                    {
                        range: [-160, 160],
                        role: `accel_body_${axis}`,
                        ...on_strip('Acceleration, body', axis),
                    },
                ),
            ),
            ...kAxes.map((axis) =>
                column(
                    `rate_body_${axis}`,
                    axis === 'x' ? 'Roll rate' : `Turn rate, body ${axis}`,
                    'rad/s',
                    'Inertial',
                    2,
                    {
                        range: [-35, 35],
                        role: `rate_body_${axis}`,
                        ...on_strip('Turn rate, body', axis),
                    },
                ),
            ),
        ],
        (t) => {
            const swing = t > apogee_t && t < touchdown_t ? 1 : 0;
            return {
                accel_body_x: at(truth.accel, t) + noise(t, 1) * (0.05 + 3 * flying(t)) - (charge(t) < 0.03 ? 120 : 0),
                accel_body_y: noise(t, 2) * (0.05 + 2 * flying(t)) + swing * 3 * Math.sin(t * 2.1),
                accel_body_z: noise(t, 3) * (0.05 + 2 * flying(t)) + swing * 3 * Math.cos(t * 1.7),
                rate_body_x:
                    (t > kLiftoff_s && t < apogee_t ? 6 * (1 - Math.exp(-(t - kLiftoff_s) / 1.5)) : 0) +
                    noise(t, 4) * 0.02,
                rate_body_y: noise(t, 5) * 0.02 + swing * 0.9 * Math.sin(t * 1.9),
                rate_body_z: noise(t, 6) * 0.02 + swing * 0.8 * Math.cos(t * 2.3),
            };
        },
        'batch',
    ),
    packet(
        'baro',
        'Barometer',
        0.04,
        [
            column('static_pressure', 'Static pressure', 'Pa', 'Air data', 0, {
                range: [30000, 110000],
                role: 'static_pressure',
            }),
            column('air_temperature', 'Air temperature', 'K', 'Air data', 1, {
                range: [233, 358],
                role: 'air_temperature',
            }),
        ],
        (t) => ({
            static_pressure: 87850 - 10.4 * at(truth.altitude, t) + noise(t, 7) * 3 + (charge(t) < 0.1 ? 900 : 0),
            air_temperature: 296.4 - 0.0065 * at(truth.altitude, t) + 0.02 * noise(t, 8) + t * 0.01,
        }),
    ),
    packet(
        'fix',
        'GNSS fix',
        0.2,
        [
            column('latitude', 'Latitude', 'deg', 'Position', 6, { role: 'latitude' }),
            column('longitude', 'Longitude', 'deg', 'Position', 6, { role: 'longitude' }),
            column('height_msl', 'Altitude MSL', 'm', 'Position', 1, { role: 'height_msl' }),
            column('velocity_east', 'Velocity east', 'm/s', 'Position', 2, on_strip('Velocity', 'east')),
            column('velocity_north', 'Velocity north', 'm/s', 'Position', 2, on_strip('Velocity', 'north')),
            column('velocity_up', 'Velocity up', 'm/s', 'Position', 2, on_strip('Velocity', 'up')),
            column('fix_dimensions', 'GNSS fix', '1', 'Position', 0, {
                enumeration: { 1: 'none', 2: '2-D', 3: '3-D' },
                role: 'fix_dimensions',
            }),
            column('satellites_used', 'GNSS satellites used', '1', 'Position', 0, {
                range: [4, 40],
                role: 'satellites_used',
            }),
        ],
        (t) => {
            const lost = t > kLiftoff_s + 0.3 && t < kLiftoff_s + 3;
            const east = drift_s(t) > 0 && t < touchdown_t ? 5 : 0;
            return {
                latitude: 22.1023 + drift_s(t) * 9e-6,
                longitude: 14.0794 + drift_s(t) * 5.9e-5,
                height_msl: 1210 + at(truth.altitude, t) + noise(t, 9),
                velocity_east: east + 0.1 * noise(t, 10),
                velocity_north: east * 0.2 + 0.1 * noise(t, 11),
                velocity_up: at(truth.speed, t) + 0.2 * noise(t, 12),
                fix_dimensions: lost ? 1 : 3,
                satellites_used: lost ? 3 : 14 + Math.round(Math.sin(t / 9) * 2),
            };
        },
    ),
    packet(
        'health',
        'Health',
        0.5,
        [
            column('battery_voltage', 'Battery voltage', 'V', 'Health', 2, {
                range: [6.6, 8.6],
                role: 'battery_voltage',
            }),
            column('continuity_drogue', 'Drogue continuity', '1', 'Health', 0, {
                enumeration: kGood,
                role: 'pyro_continuity',
            }),
            column('continuity_main', 'Main continuity', '1', 'Health', 0, {
                enumeration: kGood,
                role: 'pyro_continuity',
            }),
            column('free_storage', 'Free storage', 'By', 'Health', 0),
            column('rssi', 'Received signal strength', 'dB{mW}', 'Health', 0, { role: 'radio_rssi' }),
        ],
        (t) => ({
            battery_voltage: 7.92 - t * 0.0012 + 0.005 * noise(t, 13) - (charge(t) < 0.6 ? 0.45 : 0),
            continuity_drogue: t > apogee_t + 0.4 ? 0 : 1,
            continuity_main: t > main_t ? 0 : 1,
            free_storage: 3.2e9 - 65536 * Math.floor(t),
            rssi: -62 - 0.03 * at(truth.altitude, t) + noise(t, 25),
        }),
    ),
    packet(
        'nav',
        'On-board estimate',
        0.1,
        [
            column('onboard_phase', 'On-board phase', '1', 'On-board estimate', 0, {
                enumeration: { 0: 'waiting', 1: 'flying up', 2: 'flying down', 3: 'down' },
                role: 'onboard_phase',
            }),
            column('onboard_altitude', 'On-board altitude AGL', 'm', 'On-board estimate', 1, {
                role: 'onboard_altitude',
            }),
            column('onboard_vertical_speed', 'On-board vertical speed', 'm/s', 'On-board estimate', 1, {
                role: 'onboard_vertical_speed',
            }),
        ],
        (t) => ({
            onboard_phase: onboard_phase_at(t - 0.3),
            onboard_altitude: at(truth.altitude, t) * 1.012 + noise(t, 14) * 0.8,
            onboard_vertical_speed: at(truth.speed, t) + noise(t, 15) * 0.7,
        }),
    ),
];

/** A value and its 1-sigma. */
const pair = (name, value, sigma) => ({ [name]: value, [`${name}_sigma`]: sigma });

function landing_case(name, east, north, major, minor, bearing, in_s, outside, probability) {
    const values = { east_m: east, north_m: north, semi_major_m: major, semi_minor_m: minor };
    const all = { ...values, bearing_deg: bearing, in_s, outside, probability };
    return Object.fromEntries(Object.entries(all).map(([part, value]) => [`${name}_${part}`, value]));
}

/** Rows by estimator; a column that is not named has no value. */
const kEstimates = {
    vertical: (t) => {
        const spread = 0.4 + 6 * flying(t) + (fade(t) ? 4 : 0);
        return {
            ...pair('altitude_m', at(truth.altitude, t) + noise(t, 16) * 0.2, spread),
            ...pair('vertical_speed_mps', at(truth.speed, t) + noise(t, 17) * 0.1, 0.2 + 0.35 * spread),
            health: health(t < 5 ? 'not enough data yet' : 'consistent'),
        };
    },
    phase: (t) => ({
        phase: number_of('phase', 'phase', phase_at(t)),
        time_since_liftoff_s: t < kLiftoff_s ? NaN : t - kLiftoff_s,
    }),
    derived: (t) => ({
        altitude_max_m: t < kLiftoff_s ? NaN : t < apogee_t ? at(truth.altitude, t) : kApogee_m,
        vertical_speed_max_mps: t < kLiftoff_s ? NaN : at(truth.speed, Math.min(t, kLiftoff_s + 2.1)),
        ground_distance_m: Math.hypot(...place(t)),
    }),
    navigation: (t) => {
        const [east, north] = place(t);
        const spread = fade(t) ? 9 : 1.4;
        return {
            mode: mode(t < 8 ? 'aligning' : t < kLiftoff_s ? 'at rest' : fade(t) ? 'dead reckoning' : 'GNSS-aided'),
            ...pair('east_m', east + 0.3 * noise(t, 20), spread),
            ...pair('north_m', north + 0.3 * noise(t, 21), spread),
            ...pair('up_m', at(truth.altitude, t), 2.1),
            ...pair('velocity_up_mps', at(truth.speed, t), 0.4),
            fix_health: health(t < 30 ? 'not enough data yet' : 'consistent'),
            height_health: health(t < 40 ? 'not enough data yet' : 'conservative'),
            ...attitude(t),
        };
    },
    look_angles: (t) => {
        const [east, north] = place(t).map((metres, i) => metres + (i === 0 ? 196 : 244));
        const azimuth = (Math.atan2(east, north) * 180) / Math.PI;
        const flat = Math.hypot(east, north);
        return {
            ...pair('azimuth_deg', (azimuth + 360) % 360, 0.24),
            azimuth_magnetic_deg: (azimuth + 347.6) % 360,
            ...pair('elevation_deg', (Math.atan2(at(truth.altitude, t), flat) * 180) / Math.PI, 0.3),
            ...pair('slant_range_m', Math.hypot(flat, at(truth.altitude, t)), 2.4),
            pointing_half_beams: fade(t) ? 1.2 : 0.04,
        };
    },
    onboard_comparison: (t) => ({
        ...pair('altitude_m', -0.012 * at(truth.altitude, t) + noise(t, 22), 1.3),
        ...pair('vertical_speed_mps', noise(t, 23) * 0.7, 0.4),
        ...pair('long_axis_deg', 1.1 + 0.3 * noise(t, 24), 0.9),
    }),
    ascent: (t) => {
        const left = Math.max(0.04, (apogee_t - Math.max(t, kLiftoff_s)) / (apogee_t - kLiftoff_s));
        const mean = kApogee_m + 16 * left;
        return {
            ...pair('apogee_m', mean, 41 * left),
            apogee_low_m: mean - 67 * left,
            apogee_high_m: mean + 67 * left,
            apogee_in_s: apogee_t - Math.max(t, kLiftoff_s),
            apogee_in_low_s: apogee_t - Math.max(t, kLiftoff_s) - 0.9 * left,
            apogee_in_high_s: apogee_t - Math.max(t, kLiftoff_s) + 0.9 * left,
        };
    },
    landing: (t) => {
        const [east, north] = place(touchdown_t);
        const left = Math.max(0.05, (touchdown_t - Math.max(t, kLiftoff_s)) / (touchdown_t - kLiftoff_s));
        const in_s = touchdown_t - Math.max(t, kLiftoff_s);
        const nominal = [
            east + 60 * left,
            north,
            240 * left + 8,
            120 * left + 6,
            70,
            in_s,
            0.031 * left,
            t > apogee_t + 0.4 ? 1 : 0.93,
        ];
        const ruled_out = t > apogee_t + 0.4;
        return {
            ...landing_case('nominal', ...nominal),
            ...(ruled_out ? {} : landing_case('drogue_fails', 420, 140, 150, 90, 75, 60, 0.004, 0.05)),
            ...(ruled_out && !kBallistic
                ? {}
                : landing_case('no_parachute', -190, -60, 130 * left, 80 * left, 250, in_s, 0, 0.02)),
            terrain: number_of('landing', 'terrain', 'flat'),
            likeliest: number_of('landing', 'likeliest', kBallistic ? 'no parachute (ballistic)' : 'nominal'),
            outside: 0.03 * left,
        };
    },
};
const kSpans = {
    ascent: { until: apogee_t, rail_period_s: 10 },
    landing: { until: touchdown_t, rail_period_s: 10 },
};

function link_row(t) {
    return {
        frames_good: Math.floor(t * 96),
        frames_bad: Math.floor(t * 0.4),
        dropped_bytes: Math.floor(t * 31),
        received: Math.floor(t * 96),
        lost: Math.floor(t * 1.7),
        duplicates: 0,
        late: 0,
        out_of_order: 0,
        sequence_resets: 0,
        undecodable: 0,
        rate_10s: fade(t) ? 0 : 96 + Math.round(noise(t, 18) * 2),
        loss_10s: Math.max(0, 0.018 + 0.01 * noise(Math.floor(t * 2), 19) + (t > 62 && t < 73 ? 0.3 : 0)),
        age_s: fade(t) ? 0.4 + (t % 1) : 0.02,
    };
}

/** Tables that the golden hello does not have: what the station watches. */
const kParachutes = { drogue: [22, 27], main: [5.1, 6.6] };
const kParachuteWords = { 0: 'not due', 1: 'due', 2: 'out', 3: 'late', 4: 'failed' };
const watched = [
    {
        name: `${kVehicle}/estimate/deployment`,
        title: 'Deployment',
        kind: 'estimate',
        vehicle: 0,
        period_s: 0.5,
        columns: [
            ...Object.keys(kParachutes).flatMap((name) => [
                column(`${name}_expected_in_s`, `Time to ${name}`, 's', 'Deployment', 1),
                column(`${name}_out`, `State of ${name}`, '1', 'Deployment', 0, { enumeration: kParachuteWords }),
                column(`${name}_rate_low_mps`, `Fall rate with ${name}, low`, 'm/s', '', 1),
                column(`${name}_rate_high_mps`, `Fall rate with ${name}, high`, 'm/s', '', 1),
            ]),
            column('rate_mps', 'Fall rate', 'm/s', 'Deployment', 1, { sigma_column: 'rate_mps_sigma' }),
            column('rate_mps_sigma', 'Fall rate, 1-sigma', 'm/s', '', 1),
            column('no_parachute_rate_mps', 'Fall rate without a parachute', 'm/s', '', 1),
            column('impact_in_s', 'Impact without a parachute in', 's', '', 1),
            column('impact_east_m', 'Impact east of the pad', 'm', '', 0),
            column('impact_north_m', 'Impact north of the pad', 'm', '', 0),
        ],
        row: (t) => {
            const opens = { drogue: apogee_t + 0.4, main: main_t };
            return {
                ...Object.fromEntries(
                    Object.entries(kParachutes).flatMap(([name, [low, high]]) => [
                        [`${name}_expected_in_s`, t < kLiftoff_s ? NaN : opens[name] - t],
                        [`${name}_out`, t > opens[name] + 0.5 ? 2 : t > opens[name] ? 1 : 0],
                        [`${name}_rate_low_mps`, low],
                        [`${name}_rate_high_mps`, high],
                    ]),
                ),
                ...pair('rate_mps', t > apogee_t ? -at(truth.speed, t) : NaN, 0.9),
                no_parachute_rate_mps: 52,
                impact_in_s: t > apogee_t ? at(truth.altitude, t) / 60 : NaN,
                impact_east_m: -240,
                impact_north_m: -80,
            };
        },
    },
    {
        name: `${kVehicle}/estimate/last_place`,
        title: 'Last good place',
        kind: 'estimate',
        vehicle: 0,
        period_s: 1,
        columns: [
            column('latitude_deg', 'Latitude', 'deg', '', 7),
            column('longitude_deg', 'Longitude', 'deg', '', 7),
            column('altitude_msl_m', 'Altitude MSL', 'm', '', 1),
            column('east_m', 'East of the pad', 'm', '', 1),
            column('north_m', 'North of the pad', 'm', '', 1),
            column('horizontal_sigma_m', 'Place, 1-sigma', 'm', '', 1),
        ],
        row: (t) => {
            const [east, north] = place(t);
            return {
                latitude_deg: 22.1023 + north * 9.03e-6,
                longitude_deg: 14.0794 + east * 9.7e-6,
                altitude_msl_m: 1210 + at(truth.altitude, t),
                east_m: east,
                north_m: north,
                horizontal_sigma_m: 1.4,
            };
        },
    },
];
const kAttitudeColumns = [
    column('tilt_deg', 'Tilt', 'deg', 'Attitude', 1),
    column('tilt_heading_deg', 'Tilt heading', 'deg', 'Attitude', 0),
    column('roll_deg', 'Roll', 'deg', 'Attitude', 0),
];
const attitude = (t) => ({
    tilt_deg: 4 + (t > kLiftoff_s ? Math.min(86, 1.6 * (Math.min(t, apogee_t) - kLiftoff_s)) : 0),
    tilt_heading_deg: 250,
    roll_deg: 40 * Math.max(0, Math.min(t, apogee_t) - kLiftoff_s),
});

const described = hello.description.tables.flatMap((table) => {
    if (table.kind === 'link') return [{ ...table, row: link_row }];
    const name = table.name.split('/estimate/')[1];
    const columns = name === 'navigation' ? [...table.columns, ...kAttitudeColumns] : table.columns;
    return name in kEstimates ? [{ ...table, columns, ...kSpans[name], row: kEstimates[name] }] : [];
});

/** Estimators first, then packets, then the link: the order in which the server describes them. */
const is_link = (table) => table.kind === 'link';
export const tables = [
    ...described.filter((table) => !is_link(table)),
    ...watched,
    ...packets,
    ...(kGround ? ground : []),
    ...described.filter(is_link),
].map((table, id) => ({ ...table, id }));

/** Rows of a table in [from, to), as [t, values], by their own time or by when they were found; what a fade swallowed is missing. */
export function rows(table, from, to, by = 'time') {
    if (table.list)
        return table
            .list(to)
            .filter(([t, , at]) => (by === 'found' ? at >= from && at < to : t >= from && t < to))
            .map(([t, row]) => [t, table.columns.map(({ name }) => row[name] ?? NaN)]);
    const found = [];
    const first = Math.max(0, Math.ceil(from / table.period_s - 1e-9));
    for (let k = first; k * table.period_s < to; k++) {
        const t = k * table.period_s;
        const between = t < kLiftoff_s && table.rail_period_s && t % table.rail_period_s !== 0;
        if (t > (table.until ?? Infinity) || between) continue;
        if (table.kind === 'packet' || table.kind === 'batch') {
            const number = Math.floor(t / Math.max(0.02, table.period_s));
            if (fade(t) || Math.abs(noise(number, 40 + table.id)) > 2.1) continue;
        }
        const row = table.row(t);
        found.push([t, table.columns.map(({ name }) => row[name] ?? NaN)]);
    }
    return found;
}
