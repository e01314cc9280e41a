// What happens in the invented flight: keys and sentences as the server makes them (server/pipeline/events.cpp).
import { readFileSync } from 'node:fs';
import {
    apogee_t,
    at,
    kApogee_m,
    kBallistic,
    kFlightEnd_s,
    kGround,
    kLiftoff_s,
    main_t,
    phase_at,
    phases,
    place,
    touchdown_t,
    truth,
} from './truth.mjs';

const golden = (name) =>
    JSON.parse(readFileSync(new URL(`../../tests/golden/stream/${name}.json`, import.meta.url), 'utf8'));
const kVehicle = 'sanderling';
let ids = 0;

/** `from`: a golden event, or members of this one. */
const event = (t_s, word, from) => ({
    type: 'event',
    level: 'note',
    vehicle: 0,
    data: {},
    ...from,
    id: ++ids,
    t_s,
    t_found_s: t_s + 0.08,
    t_sigma_s: 0.02,
    event: word,
});
const alert = (t_s, cleared, word, level, key, text, more = {}) =>
    event(t_s, word, { kind: cleared ? 'alert_cleared' : 'alert_raised', level, key, text, ...more });
const link_down = (t_s, cleared, state) =>
    alert(t_s, cleared, 'link_down', 'caution', 'link/radio/down', `Link radio: ${state.replaceAll('_', ' ')}`, {
        vehicle: -1,
        data: { state, detail: '' },
    });
const frozen = (t_s, cleared, text) =>
    alert(t_s, cleared, 'sensor_frozen', 'caution', `${kVehicle}/sensor/static_pressure/frozen`, text);
const phase = ([begin_s, word]) => {
    const t_s = Math.max(0.1, begin_s);
    const key = `${kVehicle}/phase/${word.replaceAll(' ', '_')}`;
    return event(t_s, golden('event').event, { kind: golden('event').kind, key, text: word, data: { phase: word } });
};
const flight_event = (t_s, word, text) =>
    event(t_s, word, { kind: 'flight_event', key: `${kVehicle}/flight/${word}`, text });

/** Metres from the pad and degrees clockwise from north. */
const from_pad = ([east, north]) => [Math.hypot(east, north), ((Math.atan2(east, north) * 180) / Math.PI + 360) % 360];

function said_at(t) {
    const altitude = Math.round(at(truth.altitude, t));
    const fall = Math.round(-at(truth.speed, t));
    switch (phase_at(t)) {
        case 'on the rail':
            if (kGround) return ['On the stand.', { form: 'on_the_stand' }];
            return ['On the rail. Liftoff not seen.', { form: 'on_the_rail' }];
        case 'under thrust':
            return [`Under thrust. ${altitude} m AGL, climbing ${-fall} m/s.`, { form: 'under_thrust' }];
        case 'coasting':
            return [
                `Coasting. Apogee about ${Math.round(kApogee_m)} m in ${Math.round(apogee_t - t)} s.`,
                { form: 'coasting', apogee_m: Math.round(kApogee_m), apogee_in_s: Math.round(apogee_t - t) },
            ];
        case 'falling (no parachute)': {
            const [distance, bearing] = from_pad([-190, -60]).map(
                (value, i) => Math.round(value / (i ? 5 : 10)) * (i ? 5 : 10),
            );
            const text = `No parachute seen. ${altitude} m, falling ${fall} m/s, impact in ${Math.max(0, Math.round(touchdown_t - t))} s, ${distance} m at ${String(bearing).padStart(3, '0')}°. Heads up.`;
            return [text, { form: 'no_parachute' }];
        }
        case 'under drogue':
            return [
                `Under drogue. ${altitude} m, falling ${fall} m/s. Main due in ${Math.round(main_t - t)} s.`,
                { form: 'under_drogue' },
            ];
        case 'under main':
            return [
                `Under main. ${altitude} m, falling ${fall} m/s. Down in ${Math.round(touchdown_t - t)} s.`,
                { form: 'under_main' },
            ];
        default: {
            const [distance, bearing] = from_pad(place(t)).map(Math.round);
            const text = `Down ${distance} m from the pad at ${String(bearing).padStart(3, '0')}°. Apogee ${Math.round(kApogee_m)} m.`;
            return [text, { form: 'down', apogee_m: Math.round(kApogee_m) }];
        }
    }
}

/** A sentence whenever it is another one, at most once a second; a warning while the link is silent under the drogue. */
function sentences() {
    const found = [];
    for (let t = 0; t < kFlightEnd_s; t++) {
        const lost = t >= 62 && t < 65 && !kBallistic && !kGround;
        const [text, data] = lost ? ['No data from the rocket. Watch the sky.', { form: 'signal_lost' }] : said_at(t);
        if (found.at(-1)?.text === text) continue;
        const level = data.form === 'no_parachute' ? 'warning' : lost ? 'caution' : 'note';
        found.push(event(t, 'sentence', { kind: 'sentence', key: `${kVehicle}/sentence`, level, text, data }));
    }
    return found;
}

/** What an operator does with an alert. */
export const handled = (kind, t_s, key, data = {}) =>
    event(t_s, kind, { kind, key, text: kind.replace('_', ' '), data });

/** What an operator enters. */
export const entered = (kind, t_s, text) => event(t_s, kind, { kind, vehicle: -1, key: kind, text, data: { text } });

/** The flight of the vehicle, by an operator. */
export const named = (t_s, name) =>
    event(t_s, 'flight_named', { kind: 'flight_event', text: `Flight named "${name}"`, data: { name } });

const opened = [
    flight_event(apogee_t + 0.4, 'drogue_out', 'Drogue out'),
    flight_event(main_t, 'main_out', 'Main out'),
    event(apogee_t + 0.4, 'pressure_pulse', {
        kind: 'flight_event',
        key: `${kVehicle}/pulse/pressure`,
        text: 'Pressure pulse of +900 Pa for 90 ms',
        data: { peak_pa: 900, duration_s: 0.09 },
    }),
];
const ballistic = [
    alert(apogee_t + 2, false, 'no_parachute', 'warning', `${kVehicle}/descent/no_parachute`, 'No parachute seen', {
        advice: 'Call heads up, keep everyone in sight of it, and clear the place of impact',
    }),
    alert(touchdown_t, true, 'no_parachute', 'warning', `${kVehicle}/descent/no_parachute`, 'The flight is over'),
];

const flight = [
    event(0.02, golden('event_missing').event, golden('event_missing')),
    ...phases.map(phase),
    entered('marker', 8.3, 'Igniter connected'),
    flight_event(kLiftoff_s, 'liftoff', 'Liftoff'),
    flight_event(kLiftoff_s + 2.1, 'burnout', 'Burnout'),
    flight_event(apogee_t, 'apogee', 'Apogee'),
    ...(kBallistic ? ballistic : opened),
    link_down(61.6, false, 'no_data'),
    link_down(64.3, true, 'open'),
    frozen(100, false, 'Barometer frozen, ignored'),
    frozen(103, true, 'Barometer recovered'),
    alert(
        104,
        false,
        'landing_outside_boundary',
        'advisory',
        `${kVehicle}/estimate/landing/outside_boundary`,
        '3 % of predicted landings are outside the boundary. Advisory: the range safety officer decides',
        { data: { outside: 0.031 } },
    ),
    flight_event(touchdown_t, 'touchdown', 'Touchdown'),
    ...sentences(),
].sort((a, b) => a.t_s - b.t_s);

const kOfFlight = [
    'liftoff',
    'burnout',
    'apogee',
    'touchdown',
    'drogue_out',
    'main_out',
    'pressure_pulse',
    'sensor_frozen',
    'link_down',
];
export const events = kGround
    ? flight.filter(({ event, kind }) => !kOfFlight.includes(event) && !kind.startsWith('alert') && kind !== 'marker')
    : flight;
