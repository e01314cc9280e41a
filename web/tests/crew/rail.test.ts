/** The rail's figures: which is greatest in which phase, how they are rounded, and when they are old. */
import { describe, expect, it } from 'vitest';
import { select_rail, type RailFigure } from '../../src/crew/rail/rail';
import { kLikeliestWords, kModeWords } from '../../src/tape/estimates';
import { measured_place } from '../../src/tape/flight/measured';
import type { TapeEvent } from '../../src/stream/messages';
import type { Tape } from '../../src/tape/tape';
import {
  column,
  description,
  event,
  missing,
  pair,
  phase,
  replay_at,
  table,
  words,
  type Rows,
} from '../support/builders';

const kOut = ['not due', 'due', 'out', 'late', 'failed'];
const parachute = (name: string) => [
  column(`${name}_expected_in_s`, 's'),
  words(`${name}_out`, name, ...kOut),
  column(`${name}_rate_low_mps`, 'm/s'),
  column(`${name}_rate_high_mps`, 'm/s'),
];
const kTables = [
  table('v/baro', 'packet', [column('p', 'Pa', { role: 'static_pressure' })], { period_s: 0.04 }),
  table('v/fix', 'packet', [
    column('latitude', 'deg', { role: 'latitude' }),
    column('dimensions', '1', { role: 'fix_dimensions' }),
  ]),
  table('v/estimate/vertical', 'estimate', [...pair('altitude_m'), ...pair('vertical_speed_mps', 'm/s')]),
  table('v/estimate/navigation', 'estimate', [
    words('mode', 'Mode', 'aligning', kModeWords.aided),
    ...pair('east_m'),
    ...pair('north_m'),
    ...pair('up_m'),
    ...pair('velocity_up_mps', 'm/s'),
  ]),
  table('v/estimate/ascent', 'estimate', [...pair('apogee_m'), column('apogee_in_s', 's')]),
  table('v/estimate/derived', 'estimate', [...pair('altitude_max_m')]),
  table('v/estimate/landing', 'estimate', [
    ...['east_m', 'north_m', 'semi_major_m', 'semi_minor_m', 'in_s'].map((part) => column(`nominal_${part}`, 'm')),
    words('likeliest', 'Likeliest', ...Object.values(kLikeliestWords)),
  ]),
  table('v/estimate/deployment', 'estimate', [
    ...parachute('drogue'),
    ...parachute('main'),
    ...pair('rate_mps', 'm/s'),
    column('no_parachute_rate_mps', 'm/s'),
    column('impact_in_s', 's'),
    column('impact_east_m', 'm'),
    column('impact_north_m', 'm'),
  ]),
  table('v/estimate/last_place', 'estimate', [
    ...['latitude_deg', 'longitude_deg'].map((name) => column(name, 'deg')),
    ...['east_m', 'north_m', 'horizontal_sigma_m'].map((name) => column(name, 'm')),
  ]),
];
const kSent = { 'v/baro': { p: 90000 }, 'v/fix': { latitude: 1, dimensions: 3 } };
const kLiftoff = event(1, 30, 'flight_event', 'liftoff');

const stand = (cursor_s: number, rows: Rows, events: TapeEvent[]): Tape =>
  replay_at(cursor_s, description(kTables), { ...kSent, ...rows }, events);
const rail = (word: string, rows: Rows, more: TapeEvent[] = [], cursor_s = 50.5): Map<string, RailFigure> =>
  new Map(select_rail(stand(cursor_s, rows, [kLiftoff, phase(2, 31, word), ...more]), 0).map((one) => [one.name, one]));
const plain = (text: string | undefined): string | undefined => text?.replaceAll('\u202f', ' ');
const greatest = (figures: Map<string, RailFigure>): string[] =>
  [...figures.values()].filter((one) => one.size === 1).map((one) => one.name);

describe('the greatest figure', () => {
  const rows = {
    'v/estimate/vertical': { altitude_m: 612.3, altitude_m_sigma: 2, vertical_speed_mps: -24.2 },
    'v/estimate/last_place': { east_m: 90, north_m: -40, horizontal_sigma_m: 1.4 },
  };
  it.each([
    ['on the rail', 'checks'],
    ['under thrust', 'altitude'],
    ['coasting', 'altitude'],
    ['falling (no parachute)', 'vertical_speed'],
    ['under drogue', 'vertical_speed'],
    ['under main', 'vertical_speed'],
    ['down', 'place'],
    ['presumed down', 'place'],
  ])('%s is the %s', (word, name) => expect(greatest(rail(word, rows))).toEqual([name]));
  it('on the rail is the countdown while there is one, held or not, and the pad check again without', () => {
    const step = (id: number, t_s: number, word: string, left_s: number): TapeEvent =>
      event(id, t_s, 'countdown', word, { vehicle: -1, data: { left_s } });
    const runs = step(10, 40, 'countdown_runs', 75.2);
    const counted = (...steps: TapeEvent[]) => rail('on the rail', rows, steps);
    expect(greatest(counted(runs))).toEqual(['countdown']);
    expect(counted(runs).get('countdown')).toMatchObject({ title: 'Countdown', text: 'T−1:05' });
    expect(counted(runs).get('checks')?.size).toBe(2);
    const held = counted(runs, step(11, 45, 'countdown_held', 70.2)).get('countdown');
    expect(held).toMatchObject({ title: 'Countdown, held', text: 'T−1:11' });
    expect(held?.notes).toEqual([]);
    const why = event(13, 46, 'countdown', 'countdown_held', { vehicle: -1, data: { left_s: 70.2, reason: 'smoke' } });
    expect(counted(runs, step(11, 45, 'countdown_held', 70.2), why).get('countdown')?.notes).toEqual(['smoke']);
    const off = event(12, 48, 'countdown', 'countdown_off', { vehicle: -1 });
    expect(greatest(counted(runs, off))).toEqual(['checks']);
  });
});

describe('altitude and fall', () => {
  const rows = {
    'v/estimate/vertical': {
      altitude_m: 612.34,
      altitude_m_sigma: 2.1,
      vertical_speed_mps: -24.31,
      vertical_speed_mps_sigma: 0.97,
    },
    'v/estimate/deployment': {
      drogue_out: 2,
      drogue_rate_low_mps: 22,
      drogue_rate_high_mps: 27,
      main_out: 0,
      main_expected_in_s: 18,
    },
  };
  it('are rounded to their ±, the fall without a sign, beside what is expected', () => {
    const figures = rail('under drogue', rows);
    expect([figures.get('altitude')?.text, plain(figures.get('altitude')?.notes[0])]).toEqual([
      '612',
      '± 2 m, vertical filter',
    ]);
    expect(figures.get('vertical_speed')).toMatchObject({ title: 'Falling', text: '24', unit: 'm/s' });
    expect(figures.get('vertical_speed')?.notes.map(plain)).toEqual(['± 1 m/s, vertical filter, expected 22 to 27']);
  });
  it('say when the next parachute is due', () =>
    expect(rail('under drogue', rows).get('due')).toMatchObject({ title: 'Main due in', text: '18' }));
  it('are as old as what was measured, however new the estimate', () => {
    const old = rail('under drogue', rows, [], 56);
    expect(old.get('altitude')?.old).toBe(true);
    expect(plain(old.get('altitude')?.notes[0])).toBe('± 2 m, 6.0 s old, vertical filter');
    expect(rail('under drogue', rows).get('altitude')?.old).toBe(false);
  });
  it('come from navigation while fixes aid it', () => {
    const navigation = { mode: 1, up_m: 600, up_m_sigma: 3, velocity_up_mps: -25, velocity_up_mps_sigma: 1 };
    const figures = rail('under drogue', { ...rows, 'v/estimate/navigation': navigation });
    expect(figures.get('altitude')).toMatchObject({ text: '600', notes: ['±\u202f3 m'] });
  });
  it('have no value where none is, and say why', () => {
    expect(rail('coasting', {}).get('altitude')).toMatchObject({ text: '–', notes: ['No value yet'] });
    const why = [missing(9, 'vertical', 'No vertical estimate: needs static pressure')];
    expect(rail('coasting', {}, why).get('altitude')?.notes).toEqual(['No vertical estimate: needs static pressure']);
  });
});

describe('without a parachute', () => {
  it('the impact takes the place of the next parachute', () => {
    const deployment = {
      drogue_out: 4,
      main_out: 0,
      main_expected_in_s: 9,
      impact_in_s: 5.4,
      impact_east_m: -306,
      impact_north_m: -142,
    };
    expect(rail('falling (no parachute)', { 'v/estimate/deployment': deployment }).get('due')).toMatchObject({
      title: 'Impact in',
      text: '5',
      notes: ['about 340 m at 245°'],
    });
  });
});

describe('the predicted landing', () => {
  const landing = {
    nominal_east_m: 103,
    nominal_north_m: -48,
    nominal_semi_major_m: 88.2,
    nominal_semi_minor_m: 74,
    nominal_in_s: 45.5,
    likeliest: 0,
  };
  const rows = { 'v/estimate/landing': landing };
  it('is rounded to 10 m and 5°', () => {
    const figure = rail('under drogue', rows).get('landing');
    expect(figure).toMatchObject({ text: '110', unit: 'm', old: false });
    expect(figure?.notes[0]).toBe('bearing 115° true, in 45 s');
    expect(figure?.notes[1]?.replaceAll('\u00a0', ' ')).toBe('95 % ellipse 88 × 74 m');
  });
  it('is old with its newest fix, and says so', () => {
    const figure = rail('under drogue', rows, [], 56).get('landing');
    expect(figure).toMatchObject({ title: 'Landing, from the last fix', old: true });
    expect(figure?.notes[0]).toBe('bearing 115° true, fix 6.0 s old');
  });
  it('is predicted still where the newest fix was the pad’s', () => {
    const next = [
      event(7, 40, 'flight_event', 'ready_again'),
      event(8, 49.5, 'flight_event', 'liftoff'),
      phase(9, 49.6, 'under drogue'),
    ];
    const figure = rail('down', rows, next, 56).get('landing');
    expect(figure).toMatchObject({ title: 'Predicted landing', old: true });
    expect(figure?.notes[0]).toBe('bearing 115° true, no fix since liftoff');
  });
  it('is old from the start where no fix has ever come', () => {
    const figure = rail('coasting', { ...rows, 'v/fix': { latitude: 1, dimensions: 1 } }).get('landing');
    expect(figure).toMatchObject({ title: 'Predicted landing', old: true });
    expect(figure?.notes[0]).toBe('bearing 115° true, no fix since liftoff');
  });
  it('is as old as it is itself where the vehicle has no receiver', () => {
    const without = kTables.filter((one) => one.name !== 'v/fix');
    const tape = replay_at(56, description(without), { 'v/baro': { p: 90000 }, ...rows }, [
      kLiftoff,
      phase(2, 31, 'under drogue'),
    ]);
    const figure = select_rail(tape, 0).find((one) => one.name === 'landing');
    expect(figure).toMatchObject({ title: 'Predicted landing', old: true });
    expect(figure?.notes[0]).toBe('bearing 115° true, 6.0 s old');
  });
});

describe('the apogee', () => {
  const ascent = { apogee_m: 1107.4, apogee_m_sigma: 21, apogee_in_s: 5 };
  it('is a prediction on the way up', () => {
    const figure = rail('coasting', { 'v/estimate/ascent': ascent }).get('apogee');
    expect(figure).toMatchObject({ title: 'Predicted apogee AGL', text: '1110' });
    expect(plain(figure?.notes[0])).toBe('± 20 m, in 4.5 s');
  });
  it('is as old as what was measured before it, and then counts nothing down', () => {
    const figure = rail('coasting', { 'v/estimate/ascent': ascent }, [], 53.5).get('apogee');
    expect(figure?.old).toBe(true);
    expect(plain(figure?.notes[0])).toBe('± 20 m, 3.5 s old');
  });
  it('counts from liftoff where it was made on the rail', () => {
    const next = [
      event(7, 40, 'flight_event', 'ready_again'),
      event(8, 51, 'flight_event', 'liftoff'),
      phase(9, 51, 'under thrust'),
    ];
    const figure = rail('under thrust', { 'v/estimate/ascent': ascent }, next, 51.5).get('apogee');
    expect(plain(figure?.notes[0])).toBe('± 20 m, in 4.5 s');
  });
  it('is what was reached afterwards, and steps back', () => {
    const reached = event(7, 45, 'flight_event', 'apogee');
    const derived = { altitude_max_m: 1108.2, altitude_max_m_sigma: 1.9 };
    const figure = rail('under drogue', { 'v/estimate/ascent': ascent, 'v/estimate/derived': derived }, [reached]);
    expect(figure.get('apogee')).toMatchObject({ title: 'Apogee AGL', text: '1108', size: 4, notes: ['±\u202f2 m'] });
  });
});

describe('the last good place', () => {
  it('of the pad is not the vehicle’s, in metres or in degrees', () => {
    const next = [
      event(7, 40, 'flight_event', 'ready_again'),
      event(8, 49, 'flight_event', 'liftoff'),
      phase(9, 49, 'down'),
    ];
    const pad = { latitude_deg: -21.3846, longitude_deg: 23.17518, east_m: 0.4, north_m: 0.2, horizontal_sigma_m: 2 };
    const figures = rail('down', { 'v/estimate/last_place': pad }, next, 60);
    expect(figures.get('place')?.notes).toEqual(['No place known yet']);
    expect(figures.has('coordinates')).toBe(false);
    expect(rail('down', { 'v/estimate/last_place': pad }).get('coordinates')?.text).toBe('−21.38460');
  });
  it('is kept however old, and is never replaced by what is only computed', () => {
    const rows = {
      'v/estimate/last_place': { east_m: 103, north_m: -48, horizontal_sigma_m: 1.4 },
      'v/estimate/navigation': { mode: 0, east_m: 0, north_m: 0 },
    };
    const tape = stand(100, rows, [kLiftoff]);
    expect(measured_place(tape, 0)).toMatchObject({ east_m: 103, north_m: -48, t_s: 50 });
    const figure = rail('presumed down', rows, [], 100).get('place');
    expect(figure).toMatchObject({ title: 'Last good place, from the pad', text: '114' });
    expect(figure?.notes.map(plain)).toEqual(['bearing 115° true', '± 1 m, 50 s old']);
  });
});
