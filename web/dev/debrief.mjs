// The debrief of the stand-in server: a log book of invented flights, jobs that take a moment, and what they answer.
import { kApogee_m, kLiftoff_s, apogee_t, at, noise, phases, touchdown_t, truth } from './truth.mjs';

const kJob_ms = 900;
const kDay_ms = 86_400_000;
const kNewest_ms = Date.UTC(2026, 10, 25, 14, 15);
const jobs = new Map();
const removed = new Set();
const archived = new Set();
const written = new Map();
let job_ids = 0;
let upload_ids = 0;

/** Days before the newest, apogee against the stand-in's, wind, what is said of it. */
const kFlown = [
    { days: 0, apogee: 1, lost: 0.014, notes: 'Still air, first with the new drogue', tags: ['new drogue'] },
    { days: 11.13, apogee: 0.988, lost: 0.022, notes: 'Gusts to 7 m/s', tags: ['camera'] },
    { days: 11.19, apogee: 0.958, lost: 0.009, notes: 'Camera on', tags: ['camera'] },
    {
        days: 24.95,
        apogee: 0.996,
        lost: 0.031,
        notes: '',
        tags: [],
        ended: 'impact',
        worst: { level: 'warning', sentence: 'No parachute; bay lid jammed' },
    },
    { days: 25.09, apogee: 0.983, lost: 0.006, notes: '', tags: [] },
    {
        days: 45.9,
        apogee: 0.991,
        lost: 0.19,
        notes: 'Receiver on the car roof',
        tags: ['long range'],
        worst: { level: 'caution', sentence: 'GNSS lost from T+0:41' },
    },
    { days: 46.2, apogee: 0.97, lost: 0.02, notes: '', tags: [], damage: 'page 812 cannot be read' },
];

const figure = (key, title, unit, value, sigma) => ({ key, title, unit, value, sigma });

function figures(flown, i) {
    const spread = 1 + 0.02 * noise(i, 3);
    const impact = flown.ended === 'impact';
    return [
        figure('apogee_m', 'Apogee AGL', 'm', kApogee_m * flown.apogee, 2 + 4 * flown.lost * 10),
        figure('apogee_s', 'Apogee at', 's', (apogee_t - kLiftoff_s) * Math.sqrt(flown.apogee), 0.1),
        figure('burnout_s', 'Burnout at', 's', 1.84 * spread, 0.02),
        figure('maximum_speed_mps', 'Maximum speed', 'm/s', 164 * flown.apogee, 2),
        figure('maximum_acceleration_mps2', 'Maximum acceleration', 'm/s2', 92 * spread, 1),
        figure('drogue_rate_mps', 'Under drogue', 'm/s', impact ? null : 24 * spread, 1),
        figure('main_out_m', 'Main out at', 'm', impact ? null : 178 * spread, 3),
        figure('main_rate_mps', 'Under main', 'm/s', impact ? null : 6.2 * spread, 0.2),
        figure('landing_m', 'Landing', 'm', 114 + 40 * i, i === 5 ? 40 : 3),
        figure('landing_deg', 'Landing at', 'deg', 116 - 7 * i, 2),
        figure('duration_s', 'Duration', 's', impact ? 31 : touchdown_t - kLiftoff_s, 0.5),
        figure('wind_mps', 'Wind to 1 km', 'm/s', 4 + (i % 4), 1),
        figure('lost_share', 'Packet loss', '{fraction}', flown.lost, null),
    ];
}

function curve(flown) {
    const end_s = flown.ended === 'impact' ? 31 : touchdown_t - kLiftoff_s;
    const t_s = Array.from({ length: 100 }, (_, i) => (end_s * i) / 99);
    const fall = (t) => Math.max(0, kApogee_m - 4.6 * (t - (apogee_t - kLiftoff_s)) ** 2);
    const altitude_m = t_s.map((t) =>
        flown.ended === 'impact' && t > apogee_t - kLiftoff_s
            ? flown.apogee * fall(t)
            : flown.apogee * at(truth.altitude, kLiftoff_s + t),
    );
    const spans = phases
        .filter(([from]) => from >= kLiftoff_s)
        .map(([from, phase]) => ({ phase, from_s: from - kLiftoff_s }));
    return {
        t_s,
        altitude_m,
        phases:
            flown.ended === 'impact'
                ? [...spans.slice(0, 2), { phase: 'falling (no parachute)', from_s: apogee_t - kLiftoff_s }]
                : spans,
    };
}

const recordings = kFlown.map((flown) =>
    new Date(kNewest_ms - flown.days * kDay_ms).toISOString().slice(0, 19).replaceAll(':', '').concat('Z-sanderling'),
);

const flight = (flown, i) => ({
    id: `${recordings[i]}~sanderling~1`,
    recording: recordings[i],
    vehicle: 'sanderling',
    title: 'Sanderling',
    number: kFlown.length - i,
    name: '',
    notes: flown.notes,
    tags: flown.tags,
    configuration: i < 3 ? 'I205, 54 mm' : '',
    site: i < 5 ? 'Lantern Flat' : 'Long Shore',
    utc_liftoff_ns: `${Math.round(kNewest_ms - flown.days * kDay_ms)}000000`,
    liftoff_s: kLiftoff_s,
    from_s: 0,
    to_s: touchdown_t + 5,
    duration_s: flown.ended === 'impact' ? 31 : touchdown_t - kLiftoff_s,
    ended: flown.ended ?? 'touchdown',
    figures: figures(flown, i),
    curve: curve(flown),
    lost_share: flown.lost,
    worst: flown.worst ?? null,
    damage: flown.damage ?? '',
    live: false,
    archived: archived.has(recordings[i]),
    ...written.get(`${recordings[i]}~sanderling~1`),
});

const log_book = () => ({
    flights: kFlown.map(flight).filter((one) => !removed.has(one.recording)),
    recordings_without: [
        { id: '2026-11-25T120000Z-sanderling', name: 'Range check', damage: '', ended: 'clean', live: false },
        { id: '2026-10-01T080000Z-sanderling', name: '', damage: 'not a recording', ended: '' },
    ].filter((one) => !removed.has(one.id)),
    removed: [...removed].map((id) => ({ id, until_utc_ns: `${kNewest_ms + kDay_ms}000000` })),
    unread: 0,
});

/** Mean and sample standard deviation. */
function statistics(values) {
    const mean = values.reduce((sum, value) => sum + value, 0) / values.length;
    const sd = Math.sqrt(values.reduce((sum, value) => sum + (value - mean) ** 2, 0) / (values.length - 1));
    return { mean, sd };
}

function compare({ flights: ids }) {
    const chosen = ids.map((id) => log_book().flights.find((one) => one.id === id)).filter(Boolean);
    const scales = chosen.map((one) => one.figures[0].value / kApogee_m);
    const t_s = Array.from({ length: 400 }, (_, i) => -2 + (i * (touchdown_t - kLiftoff_s + 6)) / 399);
    const series = (key, title, unit, array, sigma) => {
        const lines = scales.map((scale) => t_s.map((t) => scale * at(array, Math.max(0, kLiftoff_s + t / scale))));
        const all = t_s.map((_, i) => statistics(lines.map((line) => line[i])));
        return {
            key,
            title,
            unit,
            t_s,
            flights: lines.map((value) => ({ value, sigma: value.map(() => sigma) })),
            mean: all.map(({ mean }) => mean),
            sd: all.map(({ sd }) => sd),
            interval: [all.map(({ mean, sd }) => mean - 2 * sd), all.map(({ mean, sd }) => mean + 2 * sd)],
            minus_first: lines.map((line) => line.map((value, i) => value - lines[0][i])),
            prediction:
                key === 'altitude_m'
                    ? { value: t_s.map((t) => 1.02 * at(array, Math.max(0, kLiftoff_s + t))), sigma: t_s.map(() => 25) }
                    : null,
        };
    };
    return {
        flights: chosen.map(({ id, name, number }, i) => ({
            id,
            name: name || `Flight ${number}`,
            letter: String.fromCharCode(65 + i),
        })),
        series: [
            series('altitude_m', 'Altitude AGL', 'm', truth.altitude, 4),
            series('vertical_speed_mps', 'Vertical speed', 'm/s', truth.speed, 1),
            series('acceleration_mps2', 'Acceleration', 'm/s2', truth.accel, 0.5),
        ],
        figures: (chosen[0]?.figures ?? []).map(({ key, title, unit }, k) => {
            const values = chosen.map((one) => one.figures[k]);
            const known = values.map(({ value }) => value).filter((value) => value !== null);
            const { mean, sd } = statistics(known);
            const wide = (2.8 * sd) / Math.sqrt(known.length);
            return {
                key,
                title,
                unit,
                values: values.map(({ value, sigma }) => ({ value, sigma })),
                n: known.length,
                mean,
                sd,
                interval: [mean - wide, mean + wide],
                predictions:
                    key === 'apogee_m' ? values.map(({ value }) => ({ minus: value - 1130, minus_sigma: 25 })) : [],
                relative_spread: sd / Math.abs(mean),
                outliers:
                    key === 'landing_m' && chosen.length > 3
                        ? [{ flight: chosen.length - 1, test: 'Grubbs', statistic: 2.31, critical: 1.89 }]
                        : [],
            };
        }),
        trend: [{ key: 'apogee_m', slope_per_day: 0.4, slope_error: 0.4, interval: [-0.5, 1.3], n: chosen.length }],
        changes: chosen.slice(1).map((_, i) => ({
            from: i,
            to: i + 1,
            changes: i === 0 ? [{ pointer: '/parachutes/0/drag_area_m2', before: 0.31, after: 0.36 }] : [],
        })),
    };
}

function response() {
    const f_hz = Array.from({ length: 120 }, (_, i) => 0.2 * 1.045 ** i);
    const gain = f_hz.map((f) => 14 / Math.hypot(2.1, 2 * Math.PI * f));
    const times = Array.from({ length: 60 }, (_, i) => i * 0.25);
    return {
        inputs: [{ channel: 'fin_roll', title: 'Fin measured', unit: 'rad' }],
        outputs: [{ channel: 'roll_rate', title: 'Roll rate', unit: 'rad/s' }],
        spectra: ['Roll rate', 'Fin measured'].map((channel, k) => {
            const density = f_hz.map((f, i) => (1 + 0.3 * noise(i, k)) * (0.001 + 1 / (1 + (f / 3) ** 4)));
            return {
                channel,
                unit: 'rad2/s2/Hz',
                f_hz,
                density,
                interval: [density.map((d) => 0.6 * d), density.map((d) => 1.9 * d)],
            };
        }),
        frequency_response: [
            {
                from: 'Fin measured',
                to: 'Roll rate',
                f_hz,
                gain,
                phase_deg: f_hz.map((f) => (-180 / Math.PI) * Math.atan((2 * Math.PI * f) / 2.1)),
                coherence: f_hz.map((f) => 1 / (1 + (f / 12) ** 2)),
                gain_interval: [gain.map((g) => 0.8 * g), gain.map((g) => 1.25 * g)],
                phase_interval: [
                    f_hz.map((f) => (-180 / Math.PI) * Math.atan((2 * Math.PI * f) / 2.1) - 8),
                    f_hz.map((f) => (-180 / Math.PI) * Math.atan((2 * Math.PI * f) / 2.1) + 8),
                ],
            },
        ],
        steps: [{ t_s: 4.02, rise_s: 0.21, overshoot: 0.12, settling_s: 0.8 }],
        roll: {
            identifiable: true,
            why: '',
            lp: -2.1,
            lp_interval: [-2.4, -1.8],
            ld: 14.2,
            ld_interval: [13.1, 15.3],
            reference_q_pa: 3000,
        },
        pitch: {
            identifiable: true,
            why: '',
            natural_hz: 1.42,
            natural_hz_interval: [1.36, 1.48],
            damping: 0.08,
            damping_interval: [0.05, 0.11],
            static_margin_m: 0.14,
        },
        yaw: { identifiable: false, why: 'no excitation: yaw stayed below 0.2 °/s' },
        actuator: { roll: { rate_limit_radps: 5.2, rate_used_radps: 3.1, saturated_share: 0.02 }, pitch: null },
        notes: ['Fins measured; the servo adds 12 ms.'],
        spectrogram: {
            channel: 'Acceleration across',
            t_s: times,
            f_hz: f_hz.slice(0, 60).map((_, i) => i * 2),
            level_db: times.map((t, i) =>
                Array.from({ length: 60 }, (_, k) => -40 + 30 * Math.exp(-(((k - 20 - t) / 6) ** 2)) + 4 * noise(i, k)),
            ),
        },
    };
}

function shadow() {
    const t_s = Array.from({ length: 300 }, (_, i) => 2 + i * 0.05);
    const command_rad = t_s.map((t) => 0.25 * Math.sin(2 * t) * Math.exp(-0.1 * t));
    return {
        t_s,
        command_rad,
        limited_rad: command_rad.map((angle) => Math.max(-0.1745, Math.min(0.1745, angle))),
        saturated_share: 0.08,
        rate_used_share: 0.41,
        margins: [1000, 3000, 9000].map((q_pa, i) => ({
            q_pa,
            stable: true,
            gain_db: 14 - 4 * i,
            phase_deg: 70 - 12 * i,
            delay_s: 0.12 - 0.03 * i,
        })),
        sensitivity: [
            { what: 'phase_margin', title: 'Phase margin', unit: 'deg', q05: 44, q50: 52, q95: 58 },
            { what: 'rate_used', title: 'Rate used', unit: '{fraction}', q05: 0.52, q50: 0.6, q95: 0.71 },
        ],
    };
}

function performance() {
    const mach = Array.from({ length: 30 }, (_, i) => 0.05 + (i * 0.45) / 29);
    const cd = mach.map((m, i) => 0.46 + 0.1 * m * m + 0.01 * noise(i, 1));
    const t_s = Array.from({ length: 60 }, (_, i) => (i * 2.1) / 59);
    return {
        drag: {
            mach,
            cd,
            interval: [cd.map((c) => c - 0.03), cd.map((c) => c + 0.03)],
            file_cd: mach.map(() => 0.5),
        },
        motor: {
            t_s,
            thrust_n: t_s.map((t) => 210 * Math.min(1, t / 0.1) * (1 - 0.15 * t)),
            sigma_n: t_s.map(() => 6),
            impulse_n_s: { value: 372, sigma: 6 },
            burn_s: 2.1,
            file: { impulse_n_s: 384 },
        },
        parachutes: [
            {
                id: 'drogue',
                drag_area_m2: { value: 0.36, sigma: 0.02 },
                opening_s: { value: 0.4, sigma: 0.1 },
                file_drag_area_m2: 0.31,
                file_opening_s: 0.5,
            },
            {
                id: 'main',
                drag_area_m2: { value: 4.1, sigma: 0.2 },
                opening_s: null,
                file_drag_area_m2: 4.0,
                file_opening_s: 1.5,
            },
        ],
        vehicle: { name: 'sanderling' },
        reasons: {},
    };
}

function smooth() {
    const t_s = Array.from({ length: 400 }, (_, i) => -2 + (i * (touchdown_t - kLiftoff_s)) / 399);
    const value = t_s.map((t) => at(truth.altitude, kLiftoff_s + t));
    return {
        series: [
            {
                key: 'altitude_m',
                title: 'Altitude AGL',
                unit: 'm',
                t_s,
                value,
                sigma: value.map(() => 1.2),
                filter_value: value.map((one, i) => one + 3 * noise(i, 2)),
                filter_sigma: value.map(() => 3),
            },
        ],
    };
}

const kAnswers = { compare, response, shadow, performance, smooth };

function imported() {
    return {
        recording: recordings[0],
        alignment: { method: 'onboard_time', offset_s: -1.2041, sigma_s: 0.0006, drift_ppm: 3 },
        packets: { both: 15_201, radio_only: 12, log_only: 611, differing: 0 },
        gaps: [{ from_s: 61, to_s: 64.2, packets: 380 }],
        channels: [
            {
                channel: 'sanderling/baro.pressure',
                title: 'Pressure',
                unit: 'Pa',
                n: 812,
                mean: 1,
                sd: 4,
                worst: 14,
                at_s: 61,
            },
        ],
    };
}

function start(body) {
    const id = `j${++job_ids}`;
    const answer = body.job === 'import' ? imported : kAnswers[body.job];
    jobs.set(id, { id, job: body.job, begun_ms: Date.now(), stopped: false, result: answer?.(body) });
    return { id };
}

function look({ id, job, begun_ms, stopped, result }) {
    const fraction = Math.min(1, (Date.now() - begun_ms) / kJob_ms);
    const state = stopped ? 'stopped' : result === undefined ? 'failed' : fraction < 1 ? 'working' : 'done';
    const error = state === 'failed' ? `${job}: no such job` : '';
    return { id, job, state, fraction, result: state === 'done' ? result : null, error };
}

const kLog = {
    kind: 'columns',
    separator: ',',
    columns: [
        { name: 'time_ms', first: ['0', '10', '20'], is_number: true },
        { name: 'pressure', first: ['101325', '101324', '101326'], is_number: true },
        { name: 'state', first: ['wait', 'wait', 'wait'], is_number: false },
    ],
    mapping: null,
};

/** What the debrief answers to a request; undefined: it is not the debrief's. `body`: of a POST. */
export function debrief(method, url, body) {
    const parts = url.pathname.split('/').slice(2).map(decodeURIComponent);
    const [what, id, more] = parts;
    if (what === 'flights' && method === 'GET' && id === undefined) return log_book();
    if (what === 'flights' && method === 'POST' && more === undefined) {
        written.set(id, body);
        return {};
    }
    if (what === 'flights' && method === 'GET' && more === 'export') return {};
    if (what === 'jobs') {
        if (method === 'POST') return start(body);
        const job = jobs.get(id);
        if (!job) return { error: `there is no job ${id}` };
        if (method === 'DELETE') job.stopped = true;
        return look(job);
    }
    if (what === 'import') {
        const upload = url.searchParams.get('upload') ?? `u${++upload_ids}`;
        return url.searchParams.has('flight') ? { upload, ...kLog } : { upload };
    }
    if (what === 'recordings' && method === 'DELETE') return removed.add(id) && {};
    if (what === 'recordings' && more === 'restore') return { restored: removed.delete(id) };
    if (what === 'recordings' && more === 'archive') {
        if (body.archived) archived.add(id);
        else archived.delete(id);
        return {};
    }
    return undefined;
}
