// Tables of a day of ground tests: rows as functions of what was done and of the time.
import { id_of, kVehicle, positions, procedure_checks, readiness } from './ground_about.mjs';
import { noise } from './truth.mjs';

/** Events of the ground tests. */
export const done = [];

const column = (name, title, unit, decimals, more = {}) => ({
    name,
    title,
    description: '',
    unit,
    group: '',
    decimals,
    range: null,
    limits: [],
    enumeration: null,
    role: null,
    sigma_column: null,
    interval: null,
    strip: null,
    text: false,
    ...more,
});
const kStates = { 0: 'waits', 1: 'holds', 2: 'fails', 3: 'not_evaluated' };
const check_columns = (id, unit, decimals, words = null) => [
    column(id, id, unit, decimals, { enumeration: words }),
    column(`${id}_margin`, id, unit, decimals),
    column(`${id}_state`, id, '1', 0, { enumeration: kStates }),
];

/** Events of a word up to a time, newest last. */
export const past = (t, event) => done.filter((one) => one.event === event && one.t_s <= t);
const fired_s = (t) => past(t, 'charge_fired').at(-1)?.t_s ?? NaN;
const begun_s = (t) => past(t, 'procedure_begun').at(-1)?.t_s ?? NaN;

// What the charge does, milliseconds after its firing
export const kEdges = {
    current_begins: [0, 2e-4],
    pulse_begins: [1.9e-3, 3e-4],
    lid_off: [18.6e-3, 5e-4],
    line_taut: [30.5e-3, 8e-4],
    settled: [96e-3, 4e-3],
    barometer_back: [32e-3, 1e-3],
    battery_back: [24.1e-3, 8e-4],
};
const bell = (t, middle, width) => Math.exp(-(((t - middle) / width) ** 2));
const burst = (t) => ({
    axial_acceleration:
        9.8 +
        (t > 0.0019 && t < 0.019 ? 12 : 0) +
        128 * bell(t, 0.0195, 0.0016) -
        60 * bell(t, 0.0236, 0.002) +
        14 * bell(t, 0.031, 0.003) +
        noise(t, 61) * 0.6,
    turn_rate:
        t < 0.0186
            ? noise(t, 62) * 0.01
            : 4.9 * (1 - Math.exp(-(t - 0.0186) / 0.003)) * Math.exp(-(t - 0.0186) / 0.05) + noise(t, 62) * 0.02,
    bay_pressure:
        87850 +
        (t < 0.0019
            ? 0
            : t < 0.0186
              ? 3000 * (1 - Math.exp(-(t - 0.0019) / 0.0012)) * Math.exp(-(t - 0.0019) / 0.05)
              : 2100 * Math.exp(-(t - 0.0186) / 0.004)) +
        noise(t, 63) * 12,
    battery:
        t < 0 || t > 0.05
            ? 8.24 + noise(t, 64) * 0.01
            : t < 0.01
              ? 7.79 + noise(t, 64) * 0.01
              : 8.24 - 0.45 * Math.exp(-(t - 0.01) / 0.006),
});
const charge_row = {
    ...Object.fromEntries(
        Object.entries(kEdges).flatMap(([name, [value, sigma]]) => [
            [name, value],
            [`${name}_sigma`, sigma],
        ]),
    ),
    pulse_peak: 3000,
    shock: 133,
    turn_rate: 4.4,
    battery_least: 7.78,
    readings_missed: 0,
    restarts: 0,
};
const kCharge_units = {
    pulse_peak: ['Pa', 0],
    shock: ['m/s2', 0],
    turn_rate: ['rad/s', 1],
    battery_least: ['V', 2],
    readings_missed: ['1', 0],
    restarts: ['1', 0],
};

/** A curve of the right shape, not worked out: it rises to where the shock swings, and falls to its peak. */
export const shocks = (t) => ({
    q: 10,
    shocks: past(t, 'charge_fired').map(({ t_s }) => {
        const natural_hz = Array.from({ length: 55 }, (_, i) => 4.2 * 2 ** (i / 12));
        const peak_mps2 = natural_hz.map(
            (hz) => (133 * hz) / (15 + hz) + 190 * Math.exp(-(Math.log(hz / 60) ** 2) / 0.3),
        );
        return { vehicle: 0, charge: 'drogue', t_s, natural_hz, peak_mps2 };
    }),
});

const gust = (t) => 5.2 + 1.1 * Math.sin(t / 37) + 1.4 * noise(Math.floor(t), 65) + 4 * bell(t % 400, 240, 7);
/** Rows by check: value, margin; undefined: it waits. */
const procedure_row = (t) => {
    const known = t >= fired_s(t) + kFound_s && fired_s(t) >= begun_s(t);
    const said = past(t, 'statement').findLast((one) => one.data.check === 'seen' && one.t_s >= begun_s(t));
    return known
        ? {
              lid_off: [0.0186, 0.0114],
              pulse: [3000, 1000],
              barometer_back: [0.032, 0.468],
              shock: [133, 24],
              battery: [7.78, 0.38],
              missed: [0, 2],
              restarts: [0, 0],
              seen: said && [Number(said.data.holds), said.data.holds ? NaN : -1],
          }
        : { seen: said && [Number(said.data.holds), said.data.holds ? NaN : -1] };
};
const board_row = (t) => {
    const said = (id) => {
        const found = past(t, 'statement').findLast((one) => one.data.check === id);
        return found && [Number(found.data.holds), found.data.holds ? NaN : -1];
    };
    const entered = past(t, 'entered').findLast((one) => one.data.name === 'wind_gust_mps');
    const gusts =
        entered && t - entered.t_s < 120
            ? entered.data.value
            : Math.max(...Array.from({ length: 60 }, (_, i) => gust(t - i)));
    return {
        drogue_circuit: [1, NaN],
        battery: [8.24, 0.34],
        storage: [0.96, 0.76],
        version: [1, NaN],
        gravity: [-0.01 + 0.004 * noise(t, 70), 0.14],
        barometer: [20 + noise(t, 71), 80],
        satellites: [11, 5],
        still: t < 120 ? undefined : [t, t - 120],
        loss: [0.004, 0.046],
        disk: [112, 110],
        alerts: [0, 0],
        wind_mean: [5.1, 3.8],
        wind_gust: [gusts, 8.9 - gusts],
        cloud: said('cloud'),
        range_clear: said('range_clear'),
        tested: [7, 23],
    };
};
const spread = (found, ids) =>
    Object.fromEntries(
        ids.flatMap((id) => {
            const [value, margin] = found[id] ?? [NaN, NaN];
            return [
                [id, value],
                [`${id}_margin`, margin],
                [`${id}_state`, found[id] === undefined ? 0 : margin < 0 ? 2 : 1],
            ];
        }),
    );
const ready_at = (t) => {
    const rows = board_row(t);
    const must = readiness.groups.flatMap((group) => group.checks).filter((one) => one.severity === 'must');
    return (
        must.every(({ id }) => rows[id] && !(rows[id][1] < 0)) &&
        positions.every((title) => answer(t, id_of(title)) === true)
    );
};
function answer(t, id) {
    const asked = past(t, 'poll_asked').findLast((one) => one.data.position === id)?.t_s ?? -1;
    return past(t, 'poll_answered').findLast((one) => one.data.position === id && one.t_s >= asked)?.data.go;
}

export const kFound_s = 3; // from the firing until the record is read
const procedure_ids = procedure_checks.map((one) => one.id);
const board_ids = readiness.groups.flatMap((group) => group.checks.map((one) => one.id));
const kBoard_units = {
    drogue_circuit: ['1', 0, { 0: 'open', 1: 'closed' }],
    battery: ['V', 2],
    storage: ['{fraction}', 2],
    version: ['1', 0, { 0: 'another', 1: 'the same' }],
    gravity: ['m/s2', 2],
    barometer: ['Pa', 0],
    still: ['s', 0],
    loss: ['{fraction}', 3],
    disk: ['h', 0],
    wind_mean: ['m/s', 1],
    wind_gust: ['m/s', 1],
    tested: ['d', 0],
};
const kProcedure_units = {
    lid_off: ['s', 3],
    pulse: ['Pa', 0],
    barometer_back: ['s', 3],
    shock: ['m/s2', 0],
    battery: ['V', 2],
};

/** Rows that come long after what they tell of: `list` gives them as [t, values, found]. */
const charges = (t) => past(t, 'charge_fired').map((one) => one.t_s);
const machine = (vehicle, name, title, period_s, columns, row, kind = 'packet') => ({
    name,
    title,
    kind,
    vehicle,
    period_s,
    columns,
    row,
});
const limits = (side, caution, warning) => [
    { side, level: 'caution', value: caution },
    { side, level: 'warning', value: warning },
];

export const tables = [
    {
        name: `${kVehicle}/procedure/separation-test`,
        title: 'Tethered separation test',
        kind: 'estimate',
        vehicle: 0,
        period_s: 1,
        columns: procedure_ids.flatMap((id) => check_columns(id, ...(kProcedure_units[id] ?? ['1', 0]))),
        row: (t) => spread(procedure_row(t), procedure_ids),
    },
    {
        name: `${kVehicle}/readiness`,
        title: 'Readiness',
        kind: 'estimate',
        vehicle: 0,
        period_s: 1,
        columns: [
            ...board_ids.flatMap((id) => check_columns(id, ...(kBoard_units[id] ?? ['1', 0]))),
            column('ready', 'Ready', '1', 0, { enumeration: { 0: 'not ready', 1: 'ready' } }),
        ],
        row: (t) => ({ ...spread(board_row(t), board_ids), ready: Number(ready_at(t)) }),
    },
    {
        name: `${kVehicle}/charge/drogue`,
        title: 'Drogue charge',
        kind: 'estimate',
        vehicle: 0,
        period_s: 0,
        columns: Object.keys(charge_row).map((name) => {
            const [unit, decimals] = kCharge_units[name] ?? ['s', 4];
            return column(name, name.replaceAll('_', ' '), unit, decimals, {
                sigma_column: `${name}_sigma` in charge_row ? `${name}_sigma` : null,
            });
        }),
        row: () => charge_row,
        list: (t) => charges(t).map((at) => [at, charge_row, at + kFound_s]),
    },
    {
        name: `${kVehicle}/burst.samples`,
        title: 'Around a firing',
        kind: 'batch',
        vehicle: 0,
        period_s: 0.001,
        columns: [
            column('axial_acceleration', 'Axial acceleration', 'm/s2', 1, { group: 'Charge', role: 'charge_accel_x' }),
            column('bay_pressure', 'Bay pressure', 'Pa', 0, { group: 'Charge', role: 'charge_bay_pressure' }),
            column('turn_rate', 'Turn rate', 'rad/s', 2, { group: 'Charge', role: 'charge_turn_rate' }),
            column('battery', 'Battery at the charge', 'V', 2, { group: 'Charge', role: 'charge_battery' }),
        ],
        row: () => ({}),
        list: (t) =>
            charges(t).flatMap((at) =>
                Array.from({ length: 300 }, (_, i) => [at + (i - 50) / 1000, burst((i - 50) / 1000), at + 1.5]),
            ),
    },
    machine(
        1,
        'petrel/engine',
        'Engine',
        0.5,
        [
            column('engine_speed', 'Revolutions', '{rev}/min', 0, {
                group: 'Engine',
                range: [0, 4500],
                limits: limits('high', 3600, 3800),
            }),
        ],
        (t) => ({ engine_speed: (t % 300 < 150 ? 900 : 2400) + 20 * noise(t, 80) }),
    ),
    machine(
        1,
        'petrel/transducers',
        'Transducers',
        1,
        [
            column('coolant_temperature', 'Coolant', 'K', 1, {
                group: 'Engine',
                range: [263, 393],
                limits: limits('high', 368, 373),
            }),
            column('oil_pressure', 'Oil pressure', 'Pa', 0, {
                group: 'Engine',
                range: [0, 800000],
                limits: limits('low', 150000, 100000),
            }),
            column('exhaust_temperature', 'Exhaust', 'K', 1, {
                group: 'Engine',
                range: [263, 423],
                limits: limits('high', 343, 363),
            }),
            column('battery_voltage', 'Battery', 'V', 2, {
                group: 'Electrics',
                range: [9, 16],
                limits: limits('low', 12, 11.5),
            }),
            column('fuel_level', 'Fuel', '%', 0, { group: 'Electrics', range: [0, 100] }),
        ],
        (t) => ({
            coolant_temperature: 352 + 3 * Math.sin(t / 60) + 20 * bell(t % 500, 300, 40),
            oil_pressure: (t % 300 < 150 ? 210000 : 340000) + 4000 * noise(t, 81),
            exhaust_temperature: 331 + 6 * Math.sin(t / 45),
            battery_voltage: 13.4 + 0.05 * noise(t, 82),
            fuel_level: 74 - t / 200,
        }),
    ),
    machine(
        1,
        'petrel/estimate/engine',
        'Running hours',
        1,
        [
            column('running_h', 'Running hours', 'h', 2, { group: 'Engine' }),
            column('state', 'Engine', '1', 0, { group: 'Engine', enumeration: { 0: 'stopped', 1: 'running' } }),
        ],
        (t) => ({ running_h: 214.6 + t / 3600, state: 1 }),
        'estimate',
    ),
    machine(
        1,
        'petrel/fix',
        'Place',
        1,
        [
            column('speed', 'Speed', 'm/s', 1, { group: 'Place' }),
            column('course', 'Course', 'deg', 0, { group: 'Place' }),
        ],
        (t) => ({ speed: 0.6 + 0.1 * noise(t, 83), course: 214 }),
    ),
    machine(
        2,
        'mast/wind',
        'Wind',
        1,
        [
            column('wind_speed', 'Wind speed', 'm/s', 1, { group: 'Wind', role: 'wind_speed', range: [0, 40] }),
            column('wind_from', 'Wind from', 'deg', 0, { group: 'Wind', role: 'wind_from' }),
        ],
        (t) => ({ wind_speed: Math.max(0, gust(t)), wind_from: 250 + 8 * noise(t, 84) }),
    ),
    machine(
        2,
        'mast/estimate/wind',
        'Wind over 10 min',
        1,
        [
            column('mean_mps', 'Mean', 'm/s', 1, { group: 'Wind' }),
            column('gust_mps', 'Gust', 'm/s', 1, { group: 'Wind' }),
            column('from_deg', 'From', 'deg', 0, { group: 'Wind' }),
        ],
        (t) => ({
            mean_mps: 5.1,
            gust_mps: Math.max(...Array.from({ length: 60 }, (_, i) => gust(t - i))),
            from_deg: 248,
        }),
        'estimate',
    ),
    machine(
        2,
        'mast/weather',
        'Weather',
        5,
        [
            column('pressure', 'Pressure', 'Pa', 0, { group: 'Air', range: [80000, 110000] }),
            column('air_temperature', 'Air temperature', 'K', 1, { group: 'Air', range: [253, 323] }),
            column('relative_humidity', 'Relative humidity', '%', 0, { group: 'Air', range: [0, 100] }),
        ],
        (t) => ({ pressure: 87850 + noise(t, 85), air_temperature: 296.4 + t / 3000, relative_humidity: 41 }),
    ),
];
