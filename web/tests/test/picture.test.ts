/** The picture of a charge: edges, window, lines and their figures. */
import { describe, expect, it } from 'vitest';
import { charges_at, limit_of, type Limit } from '../../src/test/charge';
import { label_places } from '../../src/test/labels';
import { axis_ms, edge_words, line_of, points_of, subjects_of, window_of } from '../../src/test/picture';
import type { Series } from '../../src/stream/blocks';
import { column, description, event, replay_at, table } from '../support/builders';
import { check } from '../support/ground';

const charge = table('v/charge/drogue', 'estimate', [column('shock', 'm/s2')], { title: 'Drogue charge', period_s: 0 });
const burst = table('v/burst.samples', 'batch', [
  column('p', 'Pa', { title: 'Bay pressure', role: 'charge_bay_pressure', decimals: 0 }),
  column('u', 'V', { title: 'Battery', role: 'charge_battery', decimals: 2 }),
  column('w', 'rad/s', { title: 'Turn rate', role: 'charge_turn_rate', decimals: 2 }),
]);
const about = description([charge, burst]);
const found = { 'v/charge/drogue': { shock: 133 } };
const fired = (t_s: number) => event(1, t_s, 'flight_event', 'charge_fired', { data: { charge: 'drogue' } });
let ids = 1;
const edge = (edge: string, after_s: number, sigma_s = 5e-4, charge = 'drogue') =>
  event(++ids, 50 + after_s, 'flight_event', 'edge_found', { data: { charge, edge, after_s, sigma_s } });
/** As the station finds them: server/monitor/charges/charge_table.cpp has the list. */
const all = [
  edge('current_begins', 0, 2e-4),
  edge('pulse_begins', 0.0019, 3e-4),
  edge('lid_off', 0.0186),
  edge('line_taut', 0.0305),
  edge('settled', 0.2, 4e-3),
  edge('barometer_back', 0.032),
  edge('battery_back', 0.0241),
];

describe('a charge', () => {
  const edges = (cursor_s: number, ...events: ReturnType<typeof event>[]) =>
    charges_at(replay_at(cursor_s, about, found, events), 0)[0]?.edges;
  it('has every edge that was found, in the order of time, called as on paper', () =>
    expect(edges(60, fired(50), ...all)?.map(({ number, title }) => `${number} ${title}`)).toEqual([
      '1 current begins',
      '2 pulse begins',
      '3 lid off',
      '4 battery back',
      '5 line taut',
      '6 barometer back',
      '7 settled',
    ]));
  it('has them with their sigmas, and none of another charge or an earlier firing', () => {
    const others = [edge('lid_off', 0.03, 1e-3, 'main'), edge('line_taut', -9)];
    expect(edges(60, fired(50), ...others, edge('settled', 0.2, 4e-3))).toMatchObject([
      { number: 1, title: 'settled', after_ms: 200, sigma_ms: 4 },
    ]);
  });
  it('shows none from after the cursor', () => expect(edges(50.02, fired(50), ...all)).toHaveLength(3));
  it('that fired again has none until they are found', () =>
    expect(charges_at(replay_at(60, about, found, [...all, fired(59)]), 0)[0]).toMatchObject({
      fired_s: 59,
      edges: [],
    }));
  it('that has not fired is not shown', () => expect(charges_at(replay_at(40, about, {}, [fired(59)]), 0)).toEqual([]));
  it('is drawn until a little after its last edge, but for one that would press all others together', () => {
    const [one] = charges_at(replay_at(60, about, found, [...all, edge('battery_back', 2.1)]), 0);
    const window = window_of(one!);
    expect(window.from_ms).toBe(-20);
    expect(window.to_ms).toBeCloseTo(240, 6);
    expect(axis_ms(window)).toEqual([0, 100, 200]);
  });
});

describe('numbers of edges', () => {
  const kPlate_px = 9; // of a digit, with the room beside it
  const kWidth_px = 450;
  it.each([
    ['far from each other', [20, 120, 300]],
    ['of the picture that was drawn: 1.9 ms apart', [50, 54.75, 96.5, 126.25, 290]],
    ['all within a few pixels', [50, 51, 52, 53, 54, 55, 56]],
    ['at the same place', [50, 50, 50]],
    ['at the right end', [430, 440, 448]],
    ['on a phone', [41, 45, 79, 92, 103, 107, 250]],
  ])('%s do not overlap, and stay inside', (_, lefts) => {
    const places = label_places(lefts, kPlate_px, kWidth_px);
    expect(places).toHaveLength(lefts.length);
    places.forEach(({ left, row }, i) => {
      expect(left).toBeGreaterThanOrEqual(0);
      expect(left + kPlate_px).toBeLessThanOrEqual(kWidth_px);
      // beside its own line
      expect(Math.min(Math.abs(left - lefts[i]!), Math.abs(left + kPlate_px - lefts[i]!))).toBeLessThanOrEqual(4);
      for (const other of places.slice(0, i).filter((one) => one.row === row))
        expect(left).toBeGreaterThanOrEqual(other.left + kPlate_px);
    });
  });
  it('stand in one row where there is room', () =>
    expect(label_places([20, 120, 300], kPlate_px, kWidth_px).map(({ row }) => row)).toEqual([0, 0, 0]));
  it('give way to the left of the first of two close lines', () =>
    expect(label_places([50, 54.75], kPlate_px, kWidth_px)).toEqual([
      { left: 38, row: 0 },
      { left: 57.75, row: 0 },
    ]));
});

/** A millisecond apart from 10 ms before the firing at 50 s. */
const series = (values: readonly (readonly [number, number])[]): Series => {
  const t_s = Float64Array.from(values, (_, i) => 50 + (i - 10) / 1000);
  const turning = values.map((_, i) => (i === 20 ? 0.1 - Math.PI : 0.1)); // it turned a little before
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
  it('of a turn rate is its change in degrees per second, its limit on the side of what turned most', () => {
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
