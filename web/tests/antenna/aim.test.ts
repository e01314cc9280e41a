/** Where to point, how far to turn, what to sweep, and how it sounds. */
import { describe, expect, it } from 'vitest';
import {
  aim_at,
  angle_between_deg,
  below_overhead_in_s,
  cue_of,
  fixed_directions,
  type Aim,
} from '../../src/antenna/aim';
import { ruler_of, kRuler } from '../../src/antenna/ruler';
import { signal_at, trace_of } from '../../src/antenna/signal';
import { sweep_of } from '../../src/antenna/sweep';
import { tones_for } from '../../src/antenna/tone';
import { raise_words, rate_words, sweep_words, turn_words } from '../../src/antenna/wording';
import { course, place_at } from '../../src/places/geodesic';
import { Tape } from '../../src/tape/tape';
import { column, description, pair, replay_at, table } from '../support/builders';

const look = table(
  'v/estimate/look_angles',
  'estimate',
  [...pair('azimuth_deg', 'deg'), column('azimuth_magnetic_deg', 'deg'), ...pair('elevation_deg', 'deg')],
  { period_s: 0.1 },
);
const radio = table('link/radio', 'link', [column('loss_10s', '1'), column('age_s', 's')], { vehicle: -1 });
const health = table('v/health', 'packet', [column('rssi', 'dB{mW}', { role: 'radio_rssi' })], { period_s: 0.5 });
const station = { latitude_deg: -21.3867, longitude_deg: 23.1732 };
const pad = { latitude_deg: -21.3846, longitude_deg: 23.1752 };
const site = { name: '', pad, station, declination_deg: -10, antenna_beamwidth_deg: 40, boundary: [] };
const about = description([look, radio, health], { site, links: [{ name: 'radio', uri: '', vehicle: 0 }] });

const row = (azimuth: number, elevation: number) => ({
  azimuth_deg: azimuth,
  azimuth_deg_sigma: 1,
  azimuth_magnetic_deg: (azimuth + 10) % 360,
  elevation_deg: elevation,
  elevation_deg_sigma: 1,
});
const at = (azimuth: number, elevation: number, cursor_s = 50, age_s = 0.1) =>
  replay_at(cursor_s, about, {
    'v/estimate/look_angles': row(azimuth, elevation),
    'link/radio': { age_s, loss_10s: 0.12 },
  });

function live(...rows: readonly (readonly [number, number, number])[]): Tape {
  const tape = new Tape(about, 'live', []);
  for (const [t_s, azimuth, elevation] of rows) {
    const values = Object.values(row(azimuth, elevation));
    const view = new DataView(new ArrayBuffer(8 * (1 + values.length)));
    [t_s, ...values].forEach((value, i) => view.setFloat64(8 * i, value, true));
    tape.take_block({ table: 0, columns: values.length, rows: 1, view, t_offset: 0, values_offset: 8 });
  }
  return tape;
}

describe('the aim', () => {
  it('is magnetic azimuth and elevation while packets come', () =>
    expect(aim_at(at(350, 30), 0, false)).toMatchObject({ state: 'tracking', azimuth_deg: 0, elevation_deg: 30 }));
  it.each([
    ['the newest packet is old', 50, 3.5],
    ['the newest row is old', 54, 0.1],
  ])('is lost when %s', (_, cursor_s, age_s) =>
    expect(aim_at(at(350, 30, cursor_s, age_s), 0, false).state).toBe('lost'),
  );
  it('is none, and never 000° 0°, before there is a position', () => {
    const aim = aim_at(replay_at(50, about, {}), 0, false);
    expect(aim.state).toBe('unplaced');
    expect([aim.azimuth_deg, aim.elevation_deg, aim.right_degps]).toEqual([NaN, NaN, NaN]);
  });
  it.each([
    [80.1, false, true],
    [79.9, false, false],
    [79.9, true, true],
    [76.9, true, false],
  ])('at %d° (overhead before: %s) is overhead: %s, and then has no azimuth', (elevation, before, overhead) => {
    const aim = aim_at(at(350, elevation), 0, before);
    expect(aim.overhead).toBe(overhead);
    expect(Number.isNaN(aim.azimuth_deg)).toBe(overhead);
  });
  it('moves at the rate of the last second, over north the short way', () => {
    const { right_degps, up_degps } = aim_at(live([10, 356, 40], [10.5, 359, 41], [11, 2, 42]), 0, false);
    expect(right_degps).toBeCloseTo(6, 9);
    expect(up_degps).toBeCloseTo(2, 9);
  });
  it('stops where the vehicle was last heard', () => {
    const tape = live([10, 40, 40], [11, 41, 39], [20, 99, 5]);
    const view = new DataView(new ArrayBuffer(24));
    [20, 0, 9].forEach((value, i) => view.setFloat64(8 * i, value, true));
    tape.take_block({ table: 1, columns: 2, rows: 1, view, t_offset: 0, values_offset: 8 });
    const aim = aim_at(tape, 0, false);
    expect([aim.state, aim.azimuth_deg, aim.elevation_deg]).toEqual(['lost', 51, 39]);
    expect(aim.age_s).toBeCloseTo(tape.cursor_s - 11, 1);
  });
  it('has no rate across a gap', () => expect(aim_at(live([5, 356, 40], [11, 2, 42]), 0, false).right_degps).toBeNaN());
  it('comes below overhead when its rate says so', () => {
    const aim = { overhead: true, elevation_deg: 86, up_degps: -0.5 } as Aim;
    expect(below_overhead_in_s(aim)).toBeCloseTo(12, 9);
    expect(below_overhead_in_s({ ...aim, up_degps: 1 })).toBeNaN();
    expect(below_overhead_in_s({ ...aim, overhead: false })).toBeNaN();
  });
  it('knows the directions of the pad, magnetic', () => {
    const { pad_deg, last_place_deg } = fixed_directions(at(0, 0), 0);
    expect(pad_deg).toBeCloseTo(course(station, pad).bearing_deg + 10, 9);
    expect(last_place_deg).toBeNaN();
  });
});

describe('a cue', () => {
  it.each([
    [40, 67, 14, 72, 'left 26°', 'up 5°'],
    [350, 10, 10, 5, 'right 20°', 'down 5°'],
    [10, 10, 10.3, 10.2, 'on it', 'on it'],
  ])('from %d° %d° to %d° %d° is %s, %s', (azimuth, elevation, to_azimuth, to_elevation, turn, raise) => {
    const held = { azimuth_deg: azimuth, elevation_deg: elevation };
    const cue = cue_of({ azimuth_deg: to_azimuth, elevation_deg: to_elevation }, held, 40);
    expect([turn_words(cue.turn_deg, 1), raise_words(cue.raise_deg, 1)]).toEqual([turn, raise]);
  });
  it('is rounded to what a compass knows', () => expect(turn_words(-23.4, 5)).toBe('left 25°'));
  it('is none without a mark', () => {
    const cue = cue_of({ azimuth_deg: 1, elevation_deg: 2 }, undefined, 40);
    expect([turn_words(cue.turn_deg, 1), raise_words(cue.raise_deg, 1)]).toEqual(['', '']);
    expect(cue.off_half_beams).toBeNaN();
  });
  it('overhead counts the elevation alone', () =>
    expect(cue_of({ azimuth_deg: NaN, elevation_deg: 85 }, { azimuth_deg: 90, elevation_deg: 65 }, 40)).toMatchObject({
      off_half_beams: 1,
    }));
  // Spherical law of cosines by hand: opposite azimuths at 80° are 20° apart, and neighbours on the horizon as their azimuths.
  it.each([
    [0, 80, 180, 80, 20],
    [10, 0, 40, 0, 30],
    [123, 45, 123, 45, 0],
    [7, 90, 200, 0, 90],
  ])('%d° %d° and %d° %d° are %d° apart', (a, b, c, d, want) =>
    expect(angle_between_deg({ azimuth_deg: a, elevation_deg: b }, { azimuth_deg: c, elevation_deg: d })).toBeCloseTo(
      want,
      5,
    ),
  );
});

describe('a rate', () => {
  it.each([
    [1.2, -0.9, 'right 1, down 1'],
    [-7, NaN, 'left 7'],
    [NaN, 3, 'up 3'],
    [NaN, NaN, ''],
  ])('of %d and %d is "%s"', (right, up, words) => expect(rate_words(right, up)).toBe(words));
});

describe('a sweep', () => {
  const area = (distance_m: number, bearing_deg: number, semi_major_m: number, semi_minor_m: number) => ({
    ...place_at(station, { distance_m, bearing_deg }),
    name: 'nominal' as const,
    semi_major_m,
    semi_minor_m,
    bearing_deg: 0,
    t_s: 0,
  });
  it('covers the ellipse as the station sees it', () => {
    // A circle of radius r at distance d is seen under 2 asin(r/d): 60° for 500 m at 1000 m. Magnetic: 10° more.
    const sweep = sweep_of(station, area(1000, 90, 500, 500), -10)!;
    expect(sweep.all_round).toBe(false);
    expect(sweep.from_deg).toBeCloseTo(70, 0);
    expect(sweep.to_deg).toBeCloseTo(130, 0);
  });
  it('goes over north', () => {
    const sweep = sweep_of(station, area(1000, 350, 300, 300), -10)!;
    expect([Math.round(sweep.from_deg), Math.round(sweep.to_deg)]).toEqual([343, 17]);
  });
  it('is never narrower than hands hold an antenna', () => {
    const sweep = sweep_of(station, area(3000, 90, 20, 10), 0)!;
    expect([Math.round(sweep.from_deg), Math.round(sweep.to_deg)]).toEqual([85, 95]);
  });
  it('goes all round when the station stands inside', () => {
    expect(sweep_of(station, area(100, 90, 500, 400), 0)!.all_round).toBe(true);
    expect(sweep_of(station, area(0, 0, 500, 400), 0)!.all_round).toBe(true);
  });
  it('is none without a station', () =>
    expect(sweep_of({ latitude_deg: NaN, longitude_deg: NaN }, area(100, 90, 10, 10), 0)).toBeUndefined());
  it('is said to 5°, from the horizon to where it was last', () => {
    expect(sweep_words({ from_deg: 343, to_deg: 17, all_round: false }, NaN, 12, 42)).toContain(
      'Sweep 345° to 015°, elevation 0° to 15°',
    );
    expect(sweep_words({ from_deg: 355, to_deg: 9, all_round: false }, NaN, 12, 42)).toContain(
      'Point at 000°, elevation 0° to 15°',
    );
    expect(sweep_words({ from_deg: 355, to_deg: 9, all_round: false }, NaN, 12, 20)).toContain('Sweep 355° to 010°');
    expect(sweep_words(undefined, 117, NaN, 42)).toContain('Point at 117°, the last good place, from the horizon up');
    expect(sweep_words(undefined, 117, -2, 42)).toContain('elevation 0° to 5°');
    expect(sweep_words(undefined, NaN, NaN, 42)).toContain('sweep all round');
  });
});

describe('the tones', () => {
  it('are one on target, and part by an octave at a whole beam', () => {
    const on = tones_for(0);
    expect(on.low_hz).toBe(on.high_hz);
    const off = tones_for(2);
    expect(off.high_hz / off.low_hz).toBeCloseTo(2, 9);
    expect(tones_for(9)).toEqual(off);
    expect(Math.sqrt(off.high_hz * off.low_hz)).toBeCloseTo(on.low_hz, 6);
  });
  it('widen with the error all the way', () => {
    const widths = [0, 0.25, 0.5, 1, 1.5, 2].map((off) => tones_for(off).high_hz / tones_for(off).low_hz);
    expect(widths).toEqual([...widths].sort((a, b) => a - b));
    expect(new Set(widths).size).toBe(widths.length);
  });
  it('are silent when there is nothing to point at', () => {
    expect(tones_for(NaN).gain).toBe(0);
    expect(tones_for(0).gain).toBeGreaterThan(0);
  });
});

describe('the ruler', () => {
  it('has the target where it lies, over north', () => {
    const middle = kRuler.width / 2;
    const ruler = ruler_of(350, 10, 40, true);
    const per_degree = (ruler.target_x - middle) / 20;
    expect(per_degree).toBeGreaterThan(3);
    expect(ruler.beam_right - middle).toBeCloseTo(20 * per_degree, 9);
    expect(ruler.beyond).toBe(false);
    expect(ruler.ticks.map(({ label_deg }) => label_deg).filter(Number.isFinite)).toEqual([320, 340, 360, 380]);
  });
  it('ends where the scale ends', () => {
    const ruler = ruler_of(10, 170, 360, true);
    expect(ruler.beyond).toBe(true);
    expect(ruler.target_x).toBeCloseTo(kRuler.width - 14, 9);
    expect(ruler.beam_left).toBeNaN();
  });
  it('of an elevation goes neither below the horizon nor beyond overhead', () => {
    const degrees = ruler_of(80, 85, 40, false).ticks.length;
    expect(degrees).toBe((90 - 40) / 5 + 1);
  });
});

describe('the signal', () => {
  it('is what the vehicle sends and what its link lost', () => {
    const tape = replay_at(50, about, { 'v/health': { rssi: -89 }, 'link/radio': { loss_10s: 0.12, age_s: 0.2 } });
    expect(signal_at(tape, 0)).toMatchObject({ strength_dbm: -89, loss_fraction: 0.12, strength_old: false });
    expect(signal_at(replay_at(58, about, { 'v/health': { rssi: -89 } }), 0).strength_old).toBe(true);
  });
  it('is none, and never 0, when nothing was received', () => {
    const signal = signal_at(replay_at(50, about, {}), 0);
    expect([signal.strength_dbm, signal.best_dbm, signal.loss_fraction]).toEqual([NaN, NaN, NaN]);
  });
  it('counts no loss where no packet comes', () => {
    const signal = signal_at(replay_at(50, about, { 'link/radio': { loss_10s: 0.02, age_s: 4 } }), 0);
    expect([signal.silent, signal.loss_fraction]).toEqual([true, NaN]);
  });
  it('is drawn with a break where rows are missing', () => {
    const tape = new Tape(about, 'live', []);
    const push = (t_s: number, value: number): void => {
      const view = new DataView(new ArrayBuffer(16));
      view.setFloat64(0, t_s, true);
      view.setFloat64(8, value, true);
      tape.take_block({ table: 2, columns: 1, rows: 1, view, t_offset: 0, values_offset: 8 });
    };
    const end_s = Math.ceil(tape.head_s) + 20;
    for (const [back_s, value] of [
      [9, -80],
      [8.5, -81],
      [4, -90],
      [3.5, NaN],
      [3, -91],
      [0, -92],
    ] as const)
      push(end_s - back_s, value);
    const trace = trace_of(tape, { table: about.tables[2]!, column: 0 }, 30, 20)!;
    expect(trace.path.match(/M/g)).toHaveLength(4);
    expect(trace.low).toBeLessThan(-92);
    expect(trace.high).toBeGreaterThan(-80);
    expect(trace_of(replay_at(50, about, {}), { table: about.tables[2]!, column: 0 }, 30, 20)).toBeUndefined();
  });
});
