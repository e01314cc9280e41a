/** What those who watch see at a moment: which figure is the largest, how it is rounded, and when it is old. */
import { describe, expect, it } from 'vitest';
import type { Table } from '../../src/stream/description';
import type { TapeEvent } from '../../src/stream/messages';
import { kLandingCases, kLikeliestWords } from '../../src/tape/estimates';
import type { Tape } from '../../src/tape/tape';
import type { Units } from '../../src/text/viewer';
import { select_watch, type Figure, type WatchScene } from '../../src/watch/figures';
import { column, description, event, pair, phase, replay_at, table, words, type Rows } from '../support/builders';

const landing = (name: string) =>
  ['east_m', 'north_m', 'semi_major_m', 'semi_minor_m', 'bearing_deg', 'in_s'].map((part) => column(`${name}_${part}`));
const about = description([
  table('v/estimate/vertical', 'estimate', [...pair('altitude_m'), ...pair('vertical_speed_mps', 'm/s')]),
  table('v/estimate/ascent', 'estimate', [...pair('apogee_m'), column('apogee_in_s', 's')]),
  table('v/estimate/derived', 'estimate', [...pair('altitude_max_m'), ...pair('vertical_speed_max_mps', 'm/s')]),
  table('v/estimate/navigation', 'estimate', [words('mode', 'Mode', 'lost'), ...pair('east_m'), ...pair('north_m')]),
  table('v/estimate/landing', 'estimate', [
    ...kLandingCases.flatMap(landing),
    words('likeliest', 'Likeliest', ...Object.values(kLikeliestWords)),
  ]),
  table('v/baro', 'packet', [column('p', 'Pa', { role: 'static_pressure' })]),
  table('v/gnss', 'packet', [column('lat', 'deg', { role: 'latitude' })]),
  table('v/weather', 'packet', [
    column('wind', 'm/s', { role: 'wind_speed' }),
    column('from', 'deg', { role: 'wind_from' }),
  ]),
]);

const rows: Rows = {
  'v/estimate/vertical': {
    altitude_m: 959.4,
    altitude_m_sigma: 2,
    vertical_speed_mps: 55.2,
    vertical_speed_mps_sigma: 1,
  },
  'v/estimate/ascent': { apogee_m: 1107.2, apogee_m_sigma: 3, apogee_in_s: 5.6 },
  'v/estimate/derived': {
    altitude_max_m: 1108.3,
    altitude_max_m_sigma: 2,
    vertical_speed_max_mps: 166,
    vertical_speed_max_mps_sigma: 2,
  },
  'v/estimate/navigation': { mode: 0, east_m: 102.5, east_m_sigma: 2, north_m: -50, north_m_sigma: 2 },
  'v/estimate/landing': {
    nominal_east_m: 96,
    nominal_north_m: -34,
    nominal_semi_major_m: 152,
    nominal_semi_minor_m: 128,
    nominal_bearing_deg: 70,
    nominal_in_s: 72,
    no_parachute_east_m: -303,
    no_parachute_north_m: -155,
    no_parachute_semi_major_m: 58,
    no_parachute_semi_minor_m: 44,
    no_parachute_in_s: 5.2,
    likeliest: 0,
  },
  'v/baro': { p: 9e4 },
  'v/gnss': { lat: 22 },
  'v/weather': { wind: 3.2, from: 243 },
};

const kNow_s = 50; // when every row was taken
const liftoff = event(1, 41, 'flight_event', 'liftoff');

function scene(
  phase_word: string,
  more: { events?: TapeEvent[]; rows?: Rows; cursor_s?: number; units?: Units; tables?: Table[] } = {},
): WatchScene {
  const events = [phase(100, 42, phase_word), ...(more.events ?? [liftoff])];
  const tape: Tape = replay_at(
    more.cursor_s ?? kNow_s,
    description([...about.tables, ...(more.tables ?? [])]),
    { ...rows, ...more.rows },
    events,
  );
  return select_watch(tape, 0, more.units ?? 'metric', false);
}
const said = ({ label, text, unit }: Figure): string => `${label}: ${text} ${unit}`.trim();
const all = ({ one, two }: WatchScene): string[] => [one, ...two].map(said);

describe('the largest figure', () => {
  it('is the rail before liftoff, with what is expected', () => {
    const { one, two, extra, where } = scene('on the rail', { events: [] });
    expect(said(one)).toBe('Now: On the rail');
    expect(two.map(said)).toEqual(['Expected apogee: 1107 m', 'Wind: 3 m/s']);
    expect(two.map((figure) => figure.note)).toEqual(['6 s after liftoff', 'from 245°']);
    expect(extra.join(' ')).toContain('look up');
    expect(where?.title).toBe('Expected landing');
  });
  it('on the rail says that the countdown is held, and why', () => {
    const step = (id: number, word: string, reason: string) =>
      event(id, 40 + id, 'countdown', word, { vehicle: -1, data: { left_s: 85.2, reason } });
    const noted = (...steps: TapeEvent[]) => scene('on the rail', { events: steps }).one.note;
    expect(noted(step(1, 'countdown_runs', ''))).toBe('');
    expect(noted(step(1, 'countdown_held', ''))).toBe('Countdown held');
    expect(noted(step(1, 'countdown_held', ''), step(2, 'countdown_held', 'smoke'))).toBe('Countdown held: smoke');
  });
  it('is the altitude on the way up, with speed and predicted apogee', () => {
    for (const word of ['under thrust', 'coasting'])
      expect(all(scene(word))).toEqual(['Altitude AGL: 959 m', 'Climbing: 55 m/s', 'Predicted apogee: 1107 m']);
    expect(scene('coasting').two[1]?.note).toBe('in 6 s');
  });
  it('is the fall rate on the way down, with altitude and time to landing', () => {
    const falling = { 'v/estimate/vertical': { ...rows['v/estimate/vertical'], vertical_speed_mps: -24.2 } };
    expect(all(scene('under drogue', { rows: falling }))).toEqual([
      'Falling: 24 m/s',
      'Altitude AGL: 959 m',
      'Predicted landing: 72 s',
    ]);
  });
  it.each([
    ['under main', 0.3, 'Falling: 0 m/s'],
    ['under drogue', -0.2, 'Falling: 0 m/s'],
    ['falling (no parachute)', 4, 'Falling: 0 m/s'],
  ])('is never a climb %s: %d m/s up', (word, vertical_speed_mps, says) => {
    const moved = { 'v/estimate/vertical': { ...rows['v/estimate/vertical'], vertical_speed_mps } };
    expect(said(scene(word, { rows: moved }).one)).toBe(says);
  });
  it('is the seconds to impact while the station expects one', () => {
    const unsure = { 'v/estimate/landing': { ...rows['v/estimate/landing'], likeliest: 2 } }; // the station warns first
    const raised = event(5, 48, 'alert_raised', 'no_parachute', { level: 'warning' });
    const falling = { 'v/estimate/vertical': { ...rows['v/estimate/vertical'], vertical_speed_mps: -93.4 } };
    const watched = scene('falling (no parachute)', { events: [liftoff, raised], rows: { ...unsure, ...falling } });
    expect(all(watched)).toEqual(['Predicted impact: 5 s', 'Altitude AGL: 959 m', 'Falling: 93 m/s']);
    expect(watched.one.note.replaceAll('\u00a0', ' ')).toBe('340 m from the pad at 245° true, south-west');
    expect(watched.where?.title).toBe('Predicted impact');
    const cleared = event(6, 49, 'alert_cleared', 'no_parachute');
    expect(scene('under main', { events: [liftoff, raised, cleared] }).one.label).not.toBe('Predicted impact');
  });
  it('is the place once it is down, with what the flight reached', () => {
    const down = event(7, 49, 'flight_event', 'touchdown');
    const watched = scene('down', { events: [liftoff, down] });
    expect(all(watched)).toEqual(['Down, from the pad: 114 m', 'Apogee AGL: 1108 m', 'Maximum speed: 166 m/s']);
    expect(watched.one.note).toBe('at 116° true, south-east');
    expect(watched.extra.join(' ')).toContain('In the air 8 s.');
  });
  it('is the place that was measured last, whatever was computed on from there', () => {
    const lost = { mode: 2, east_m: 900, north_m: 900 };
    const kept = { east_m: 30, north_m: 40, horizontal_sigma_m: 2 };
    const columns = ['east_m', 'north_m', 'horizontal_sigma_m'].map((name) => column(name, 'm'));
    const watched = scene('presumed down', {
      tables: [table('v/estimate/last_place', 'estimate', columns)],
      rows: { 'v/estimate/navigation': lost, 'v/estimate/last_place': kept },
    });
    expect(said(watched.one)).toBe('Last place, from the pad: 50 m');
  });
  it('is a word when the place is not known', () => {
    const nowhere = { 'v/estimate/navigation': { mode: 0 } };
    expect(said(scene('down', { rows: nowhere }).one)).toBe('Down, from the pad: Down');
    expect(scene('down', { rows: nowhere }).where).toBeUndefined();
  });
  it('is a word when nothing was measured since liftoff: the place before that is the pad', () => {
    const kept = { east_m: 0.4, north_m: -0.3, horizontal_sigma_m: 2 };
    const columns = ['east_m', 'north_m', 'horizontal_sigma_m'].map((name) => column(name, 'm'));
    const late = event(1, 48.5, 'flight_event', 'liftoff'); // the rows are taken 1.5 s after it
    const watched = scene('down', {
      tables: [table('v/estimate/last_place', 'estimate', columns)],
      rows: { 'v/estimate/last_place': kept },
      events: [late],
      cursor_s: 53,
    });
    expect(said(watched.one)).toBe('Down, from the pad: Down');
    expect(watched.where).toBeUndefined();
  });
});

describe('a figure', () => {
  it('is as old as the newest measurement behind it, not as its computation', () => {
    expect(scene('coasting', { cursor_s: 51.9 }).one.old).toBe('');
    expect(scene('coasting', { cursor_s: 52.1 }).one.old).toBe('2.1 s old');
    expect(scene('coasting', { cursor_s: 56 }).one.old).toBe('6.0 s old');
  });
  it('has its ± at hand, and drops the digits that it denies', () => {
    const wide = { 'v/estimate/vertical': { ...rows['v/estimate/vertical'], altitude_m_sigma: 21 } };
    const { one } = scene('coasting', { rows: wide });
    expect([one.text, one.spread.replaceAll(/[\u00a0\u202f]/g, ' ')]).toEqual(['960', '± 20 m']);
  });
  it('is in the units of who watches', () => {
    expect(all(scene('coasting', { units: 'feet' }))).toEqual([
      'Altitude AGL: 3148 ft',
      'Climbing: 123 mph',
      'Predicted apogee: 3633 ft',
    ]);
  });
  it('says so when there is none, and never zero', () => {
    const none = { 'v/estimate/vertical': {}, 'v/estimate/ascent': {} };
    for (const one of [scene('coasting', { rows: none }).one, ...scene('coasting', { rows: none }).two])
      expect([one.text, one.number]).toEqual(['No value yet', NaN]);
  });
  it('counts nothing down once it is old', () => {
    const { two, where } = scene('coasting', { cursor_s: 56 });
    expect(two[1]?.note).toBe('');
    expect(where?.lines.join(' ')).not.toContain('in ');
    expect(where?.old).toBe('fix 6.0 s old');
  });
});

describe('a predicted landing', () => {
  const late = event(1, 48.5, 'flight_event', 'liftoff'); // the rows are taken 1.5 s after it: the fix is the pad's
  const told = (phase_word: string, cursor_s: number, events: TapeEvent[]) => {
    const { two, where } = scene(phase_word, { cursor_s, events });
    return [where?.old, two.find((one) => one.name === 'landing_in')?.old];
  };
  it('is as old as the newest fix, however new its own row', () =>
    expect(told('under drogue', 56, [liftoff])).toEqual(['fix 6.0 s old', 'fix 6.0 s old']));
  it('says that no fix has come since liftoff', () =>
    expect(told('under drogue', 53.5, [late])).toEqual(['no fix since liftoff', 'no fix since liftoff']));
  it('takes nothing from the seconds to an impact, but its place', () => {
    const raised = event(5, 51, 'alert_raised', 'no_parachute', { level: 'warning' });
    const more = { cursor_s: 51.9, events: [late, raised], rows: { 'v/gnss': {} } };
    const { one } = scene('falling (no parachute)', more);
    expect([one.label, one.old, one.note]).toEqual(['Predicted impact', '', 'no fix since liftoff']);
    expect(scene('falling (no parachute)', { ...more, cursor_s: 53.2 }).one.old).toBe('3.2 s old');
  });
  it('is believed while fixes come', () => expect(told('under drogue', 52.5, [liftoff])).toEqual(['', '']));
});

it('counts a prediction of the rail from liftoff, not from when it was made', () => {
  const late = event(1, 51, 'flight_event', 'liftoff');
  expect(scene('under thrust', { events: [late], cursor_s: 51.9 }).two[1]?.note).toBe('in 5 s');
});

it('rounds a predicted place to 10 m and 5°, its ellipse at hand', () => {
  const { where } = scene('coasting');
  expect(where?.lines.map((line) => line.replaceAll('\u00a0', ' '))).toEqual([
    '100 m from the pad',
    'bearing 110° true',
    'in 1 min 12 s',
  ]);
  expect(where?.spread.replaceAll('\u00a0', ' ')).toBe('95 % ellipse 150 m × 130 m (semi-axes)');
});
