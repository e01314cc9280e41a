/** The curve of those who watch: its window, what is predicted, and where the measured line breaks. */
import { describe, expect, it } from 'vitest';
import { Tape } from '../../src/tape/tape';
import type { TapeEvent } from '../../src/stream/messages';
import { select_curve, walk_measured, type Curve } from '../../src/watch/curve';
import { column, description, event, pair, table, words } from '../support/builders';

const about = description([
  table('v/estimate/vertical', 'estimate', [...pair('altitude_m'), ...pair('vertical_speed_mps', 'm/s')]),
  table('v/estimate/ascent', 'estimate', [...pair('apogee_m'), column('apogee_in_s', 's')]),
  table('v/estimate/landing', 'estimate', [
    ...['east_m', 'north_m', 'semi_major_m', 'semi_minor_m', 'bearing_deg', 'in_s'].map((part) =>
      column(`nominal_${part}`),
    ),
    words('likeliest', 'Likeliest', 'nominal'),
  ]),
  table('v/estimate/derived', 'estimate', [column('altitude_max_m', 'm')]),
  table('v/baro', 'packet', [column('p', 'Pa', { role: 'static_pressure' })]),
]);

function at(cursor_s: number, up_m: number, events: readonly TapeEvent[]): Tape {
  const tape = new Tape(about, 'replay', []);
  for (const one of events) tape.log.add(one);
  tape.set_replay(cursor_s, false, 1, 1000);
  tape.take_at_cursor([
    { table: 0, t_s: cursor_s, values: Float64Array.of(up_m, 1, 0, 1) },
    { table: 1, t_s: cursor_s, values: Float64Array.of(1100, 3, 6) },
    { table: 2, t_s: cursor_s, values: Float64Array.of(100, 0, 50, 40, 0, 60, 0) },
    { table: 3, t_s: cursor_s, values: Float64Array.of(1098) },
    { table: 4, t_s: cursor_s, values: Float64Array.of(9e4) },
  ]);
  return tape;
}
const liftoff = event(1, 100, 'flight_event', 'liftoff');
const apogee = event(2, 115, 'flight_event', 'apogee');
const ends = ({ future }: Curve) => [future[0], future.at(-1)];

describe('the curve', () => {
  it('shows the whole expected flight before liftoff', () => {
    const curve = select_curve(at(20, 0, []), 0);
    expect(curve.flying).toBe(false);
    expect(ends(curve)).toEqual([
      { t_s: 20, up_m: 0 },
      { t_s: 80, up_m: 0 },
    ]);
    expect(Math.max(...curve.future.map((point) => point.up_m))).toBe(1100);
    expect(curve.to_s).toBeGreaterThan(80);
  });
  it('leads from the cursor to the predicted apogee', () => {
    const curve = select_curve(at(109, 959, [liftoff]), 0);
    expect(ends(curve).map((point) => [point?.t_s, Math.round(point?.up_m ?? NaN)])).toEqual([
      [109, 959],
      [115, 1100],
    ]);
    expect(curve.future.every((point, i) => i === 0 || point.up_m >= curve.future[i - 1]!.up_m)).toBe(true);
    expect([curve.from_s < 100, curve.to_s > 115, curve.top_m > 1100]).toEqual([true, true, true]);
  });
  it('leads from the cursor to the ground after apogee, and keeps what was reached', () => {
    const curve = select_curve(at(130, 700, [liftoff, apogee]), 0);
    expect(ends(curve).map((point) => [point?.t_s, point?.up_m])).toEqual([
      [130, 700],
      [190, 0],
    ]);
    expect(curve.apogee).toMatchObject({ t_s: 115, up_m: 1098 });
  });
  it('keeps its window while the prediction moves a little', () => {
    const windows = [108.9, 109, 109.1].map((t_s) => select_curve(at(t_s, 950, [liftoff]), 0));
    expect(new Set(windows.map((curve) => `${curve.from_s} ${curve.to_s}`)).size).toBe(1);
  });
  it('predicts nothing once it is down', () => {
    const down = event(3, 180, 'flight_event', 'touchdown');
    const curve = select_curve(at(190, 0, [liftoff, apogee, down]), 0);
    expect([curve.future, curve.goal]).toEqual([[], undefined]);
  });
});

it('breaks the measured line where nothing was received, and never draws below the ground', () => {
  const tape = at(112, 0, [liftoff]);
  const [vertical, , , , baro] = tape.tables;
  for (let t_s = 99; t_s < 112; t_s += 0.05) {
    vertical!.overview.take(vertical!.overview.touch(t_s), 0, t_s < 101 ? -2 : 10 * (t_s - 100));
    if (t_s < 104 || t_s > 108) baro!.overview.touch(t_s);
  }
  const runs: number[][] = [[]];
  const low: number[] = [];
  walk_measured(
    tape,
    0,
    select_curve(tape, 0),
    (t_s, up_m) => {
      runs.at(-1)!.push(t_s);
      low.push(up_m);
    },
    () => runs.push([]),
  );
  expect(runs.length).toBe(2);
  expect(runs[0]!.at(-1)).toBeLessThan(105);
  expect(runs[1]![0]).toBeGreaterThan(107);
  expect(Math.min(...low)).toBe(0);
});
