/** The picture of a charge: edges, window, lines and their figures. */
import { describe, expect, it } from 'vitest';
import { charges_at, limit_of, type Limit } from '../../src/test/charge';
import { axis_ms, edge_words, line_of, points_of, subjects_of, window_of } from '../../src/test/picture';
import type { Series } from '../../src/stream/blocks';
import { column, description, event, pair, replay_at, table } from '../support/builders';
import { check } from '../support/ground';

const charge = table(
  'v/charge/drogue',
  'estimate',
  [...pair('lid_off', 's'), ...pair('settled', 's'), ...pair('line_taut', 's')],
  {
    title: 'Drogue charge',
    period_s: 0,
  },
);
const burst = table('v/burst.samples', 'batch', [
  column('p', 'Pa', { title: 'Bay pressure', role: 'charge_bay_pressure', decimals: 0 }),
  column('u', 'V', { title: 'Battery', role: 'charge_battery', decimals: 2 }),
  column('w', 'rad/s', { title: 'Turn rate', role: 'charge_turn_rate', decimals: 2 }),
]);
const about = description([charge, burst]);
const found = { 'v/charge/drogue': { lid_off: 0.0186, lid_off_sigma: 5e-4, settled: 0.2, settled_sigma: 4e-3 } };
const fired = (t_s: number) => event(1, t_s, 'flight_event', 'charge_fired', { data: { charge: 'drogue' } });

describe('a charge', () => {
  it('has its edges in the order of time, with those that were not found left out', () =>
    expect(charges_at(replay_at(60, about, found, [fired(50)]), 0)[0]?.edges).toMatchObject([
      { number: 1, title: 'fired', after_ms: 0 },
      { number: 2, title: 'lid off', after_ms: expect.closeTo(18.6, 6) },
      { number: 3, title: 'settled', after_ms: 200, sigma_ms: 4 },
    ]));
  it('that fired again has none until they are found', () =>
    expect(charges_at(replay_at(60, about, found, [fired(59)]), 0)[0]).toMatchObject({ fired_s: 59, edges: [] }));
  it('that has not fired is not shown', () => expect(charges_at(replay_at(40, about, {}, [fired(59)]), 0)).toEqual([]));
  it('is drawn until a little after its last edge', () => {
    const [one] = charges_at(replay_at(60, about, found), 0);
    const window = window_of(one!);
    expect(window.from_ms).toBe(-20);
    expect(window.to_ms).toBeCloseTo(230, 6);
    expect(axis_ms(window)).toEqual([0, 50, 100, 150, 200]);
  });
});

/** A millisecond apart from 10 ms before the firing at 50 s. */
const series = (values: readonly (readonly [number, number])[]): Series => {
  const t_s = Float64Array.from(values, (_, i) => 50 + (i - 10) / 1000);
  const turning = values.map((_, i) => (i === 20 ? -Math.PI : 0));
  const cells = Float64Array.from([...values.map(([p]) => p), ...values.map(([, u]) => u), ...turning]);
  return { table: 1, columns: 3, rows: values.length, decimated: false, t_s, min: cells, max: cells, mean: cells };
};
const kWindow = { from_ms: -20, to_ms: 160 };
const samples = Array.from({ length: 40 }, (_, i): [number, number] => [
  i < 10 ? 90000 : i === 20 ? 93000 : 91000,
  i === 15 ? 7.78 : 8.24,
]);

describe('a line', () => {
  const draw = (cursor_s: number, place: number, limit?: Limit) => {
    const tape = replay_at(cursor_s, about, {});
    const subjects = subjects_of(tape, 0);
    const subject = subjects[place]!;
    return line_of(subject, points_of(tape, subject.ref, series(samples), 50, kWindow), kWindow, limit);
  };
  it('of pressure is its change from before the firing', () =>
    expect(draw(60, 0)).toMatchObject({
      title: 'Bay pressure, change',
      figure: '30.0',
      unit: 'hPa',
      at: 'at 10.0\u00a0ms',
    }));
  it('of the battery says the least, beside its limit', () => {
    const line = draw(60, 2, { value: 7.4, is_least: true });
    expect(line).toMatchObject({ figure: '7.78', at: 'least, at 5.0\u00a0ms', limit: { text: 'least 7.4\u00a0V' } });
    expect(line.limit?.part).toBeGreaterThan(0);
  });
  it('has a limit from the side that its check has it', () => {
    expect(draw(60, 0, { value: 2000, is_least: true }).limit?.text).toBe('least 20\u00a0hPa');
    expect(draw(60, 0, { value: 4000, is_least: false }).limit?.text).toBe('most 40\u00a0hPa');
  });
  it('of a turn rate is in degrees per second, its limit on the side of what turned most', () => {
    // \u03c0 rad/s are 180 °/s, by definition of the degree (SI Brochure, 9th edition, table 8)
    const line = draw(60, 1, { value: 200, is_least: false });
    expect(line).toMatchObject({ figure: '\u2212180', unit: '°/s', limit: { text: 'most 200\u00a0°/s' } });
    expect(line.limit?.part).toBeLessThan(0.5);
  });
  it('shows nothing from after the cursor', () => expect(draw(50.003, 2).figure).toBe('8.24'));
  it('says its value at a moment, and nothing where there is none', () => {
    const line = draw(60, 2);
    expect(line.value_at(5.4)).toBe('7.78\u00a0V');
    expect(line.value_at(-15)).toBe('');
    expect(line.value_at(150)).toBe('');
  });
});

it.each([
  [18.6, 0.5, '18.6 ±\u202f0.5'],
  [96.3, 4, '96 ±\u202f4'],
  [0, NaN, '0.0'],
])('an edge at %d ± %d is %s', (ms, sigma, text) => expect(edge_words(ms, sigma)).toBe(text));

it.each([
  ['at least 20', { least: 20 }, 48.7, { value: 20, is_least: true }],
  ['at most 150', { most: 150 }, 118, { value: 150, is_least: false }],
  ['at least what is measured', { least: 20 }, 20, { value: 20, is_least: true }],
  ['at most what is measured', { most: 20 }, 20, { value: 20, is_least: false }],
  ['at least 20, before anything is measured', { least: 20 }, NaN, { value: 20, is_least: true }],
  ['20 to 80, near the least', { least: 20, most: 80 }, 30, { value: 20, is_least: true }],
  ['20 to 80, beyond the most', { least: 20, most: 80 }, 90, { value: 80, is_least: false }],
  ['nothing', {}, 1, undefined],
])('a check that wants %s has its limit from that side', (_, limits, value, limit) =>
  expect(limit_of({ check: check('pulse', limits), value })).toEqual(limit),
);
