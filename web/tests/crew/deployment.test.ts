/** The deployment watch: what is expected of each parachute beside what is seen. */
import { describe, expect, it } from 'vitest';
import { band_of, kRulerHigh_mps, kRulerLow_mps, ruler_part, select_watch } from '../../src/crew/deployment/deployment';
import type { TapeEvent } from '../../src/stream/messages';
import { column, description, event, pair, phase, replay_at, table, words } from '../support/builders';

const parachute = (name: string) => [
  column(`${name}_expected_in_s`, 's'),
  words(`${name}_out`, name, 'not due', 'due', 'out', 'late', 'failed'),
  column(`${name}_rate_low_mps`, 'm/s'),
  column(`${name}_rate_high_mps`, 'm/s'),
];
const kTable = table('v/estimate/deployment', 'estimate', [
  ...parachute('drogue'),
  ...parachute('main'),
  ...pair('rate_mps', 'm/s'),
  column('no_parachute_rate_mps', 'm/s'),
]);
const kRow = {
  drogue_out: 2,
  drogue_expected_in_s: -12,
  drogue_rate_low_mps: 22,
  drogue_rate_high_mps: 27,
  main_out: 0,
  main_expected_in_s: 18.5,
  main_rate_low_mps: 5,
  main_rate_high_mps: 7,
  rate_mps: 24.31,
  rate_mps_sigma: 0.97,
  no_parachute_rate_mps: 60,
};
const kFlown = [
  event(1, 20, 'flight_event', 'liftoff'),
  event(2, 35.4, 'flight_event', 'pressure_pulse'),
  event(3, 36, 'flight_event', 'drogue_out'),
];
const kDerived = table('v/estimate/derived', 'estimate', [
  column('drogue_rate_mps', 'm/s'),
  column('main_rate_mps', 'm/s'),
]);
const kFalling = phase(4, 36, 'under drogue');
const kDown = phase(5, 50, 'down');
const watch = (
  row: Record<string, number>,
  events: TapeEvent[] = [...kFlown, kFalling],
  means: Record<string, number> = {},
) =>
  select_watch(
    replay_at(
      50.5,
      description([kTable, kDerived]),
      { 'v/estimate/deployment': { ...kRow, ...row }, 'v/estimate/derived': means },
      events,
    ),
    0,
  );
const plain = (text: string | undefined): string | undefined => text?.replaceAll('\u202f', ' ');

describe('the watch', () => {
  it('says charge, sight and rates of what is out, and when the next is due', () => {
    const rows = watch({})?.rows ?? [];
    expect(rows.map((row) => [row.title, row.state, row.charge, row.seen, row.expected, plain(row.measured)])).toEqual([
      ['Drogue', 'out', 'T+0:15.4', 'T+0:16.0', '22 to 27 m/s', '24 ± 1'],
      ['Main', 'not due', 'due in 18 s', '–', '5 to 7 m/s', '–'],
    ]);
  });
  it('measures against the parachute that should carry', () => {
    const rows = watch({ main_out: 3, main_expected_in_s: -2 })?.rows ?? [];
    expect(rows.map((row) => [row.alarm, plain(row.measured)])).toEqual([
      [false, '–'],
      [true, '24 ± 1'],
    ]);
  });
  it('gives the mean of what no longer carries, and nothing of a vehicle that lies', () => {
    const measured = (...of: Parameters<typeof watch>) => watch(...of)?.rows.map((row) => plain(row.measured));
    const means = { drogue_rate_mps: 22.84, main_rate_mps: 5.66 };
    const out = { main_out: 2, rate_mps: 5.5, rate_mps_sigma: 0.5 };
    expect(measured(out, [...kFlown, kFalling], { drogue_rate_mps: 22.84 })).toEqual(['22.8 mean', '5.5 ± 0.5']);
    const lying = { ...out, rate_mps: 0.02 };
    expect(measured(lying, [...kFlown, kFalling, kDown], means)).toEqual(['22.8 mean', '5.7 mean']);
    expect(measured(lying, [...kFlown, kFalling, kDown])).toEqual(['–', '–']);
    expect(measured({ ...lying, main_out: 0 }, [...kFlown, kFalling, kDown], means)).toEqual(['22.8 mean', '–']);
    expect(watch(lying, [...kFlown, kFalling, kDown], means)?.rate_mps).toBeNaN();
  });
  it('takes no charge that is too old to have opened anything', () =>
    expect(watch({}, [kFlown[0]!, event(2, 25, 'flight_event', 'pressure_pulse'), kFlown[2]!])?.rows[0]?.charge).toBe(
      '–',
    ));
  it('says where each is to open, as far as the recording says it', () => {
    const parachutes = [
      { name: 'drogue', below_m: NaN, after_s: 0.5 },
      { name: 'main', below_m: 180, after_s: 0 },
    ];
    const about = description([kTable], { vehicles: [{ name: 'v', title: 'V', rocket: true, parachutes, more: {} }] });
    const opens = (tape = replay_at(50.5, about, { 'v/estimate/deployment': kRow }, kFlown)): (string | undefined)[] =>
      (select_watch(tape, 0)?.rows ?? []).map((row) => row.opens.replaceAll('\u00a0', ' '));
    expect(opens()).toEqual(['apogee', '180 m']);
    expect((watch({})?.rows ?? []).map((row) => row.opens)).toEqual(['–', '–']);
  });
  it('is none in a recording without it, or before its first row', () => {
    expect(select_watch(replay_at(50, description([]), {}), 0)).toBeUndefined();
    expect(select_watch(replay_at(50, description([kTable]), {}), 0)).toBeUndefined();
  });
});

describe('the ruler', () => {
  it('has one length for every doubling', () => {
    const parts = [4, 8, 16, 32, 64, 128].map(ruler_part);
    parts.forEach((part, i) => expect(part).toBeCloseTo(i / 5, 12));
    expect([ruler_part(kRulerLow_mps / 2), ruler_part(2 * kRulerHigh_mps)]).toEqual([0, 1]);
  });
  it.each([
    [6, 'main'],
    [24, 'drogue'],
    [60, 'none'],
    [12, ''],
    [NaN, ''],
  ])('at %d m/s is in the band "%s"', (rate, name) => expect(band_of(watch({})?.bands ?? [], rate)).toBe(name));
});
