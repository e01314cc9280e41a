/** Firings of one charge from several recordings, with a station that answers as told. */
import { afterEach, beforeEach, expect, it, vi } from 'vitest';
import { fetch_firings, like_it } from '../../src/test/earlier';

const kDay_ms = 86_400_000;

const recording = (id: string, day: number) => ({
  id,
  name: '',
  notes: '',
  utc_start_ns: `${day * kDay_ms}000000`,
  t_end_s: 900,
  live: false,
  damage: '',
  vehicles: 'v, other',
});
type Fired = readonly [t_s: number, in_flight: 0 | 1];

/** Of `lid_off`, in milliseconds the number of the row, and of `in_flight`. */
function series(rows: readonly Fired[]): ArrayBuffer {
  const columns = [rows.map(([t_s]) => t_s), rows.map((_, i) => 0.001 * i), rows.map(([, in_flight]) => in_flight)];
  const bytes = new ArrayBuffer(16 + 8 * columns.flat().length);
  const view = new DataView(bytes);
  view.setUint32(0, 0x54535331, false);
  view.setUint16(6, 2, true);
  view.setUint32(8, rows.length, true);
  columns.flat().forEach((value, i) => {
    view.setFloat64(16 + 8 * i, value, true);
  });
  return bytes;
}

const recordings = [recording('third', 3), recording('second', 2), recording('first', 1)];
const fired = new Map<string, readonly Fired[]>([
  [
    'first',
    [
      [100, 0],
      [515, 1],
    ],
  ], // tested in the morning, flown in the afternoon
  [
    'second',
    [
      [515, 1],
      [640, 1],
    ],
  ], // flown, and late once more when it was down
  [
    'third',
    [
      [100, 0],
      [515, 0],
    ],
  ], // two tests
]);
const description_of = (id: string) => ({
  version: 1,
  recording: recordings.find((one) => one.id === id),
  vehicles: [{ name: 'v' }, { name: 'other' }],
  tables: [
    { id: 0, name: 'v/charge/drogue', kind: 'estimate', columns: ['lid_off', 'in_flight'].map((name) => ({ name })) },
  ],
});
beforeEach(() => {
  vi.stubGlobal('fetch', (path: string) => {
    const { pathname } = new URL(path, 'http://station');
    if (pathname === '/api/recordings') return Promise.resolve(Response.json({ recordings }));
    const [, , , id = '', what] = pathname.split('/');
    if (what === 'series') return Promise.resolve(new Response(series(fired.get(id) ?? [])));
    return Promise.resolve(Response.json(description_of(id)));
  });
});
afterEach(() => {
  vi.unstubAllGlobals();
});

const day_of = (utc_ms: number): number => Math.floor(utc_ms / kDay_ms);

it.each([
  ['a test on the ground', 3, 515, [3, 1]],
  ['a firing in flight', 2, 515, [1]],
  ['the first test', 1, 100, []],
  ['the first firing in flight, on the day of a test', 1, 515, []],
  ['a firing after touchdown', 2, 640, [2, 1]],
])('%s stands beside those like it', async (_, day, t_s, days) => {
  const firings = await fetch_firings('third', 'v', 'v/charge/drogue');
  expect(firings).toHaveLength(6);
  const { now, before } = like_it(firings, day * kDay_ms + 1000 * t_s);
  expect(now && day_of(now.utc_ms)).toBe(day);
  expect(before.map(({ utc_ms }) => day_of(utc_ms))).toEqual(days);
});

it('before anything has fired, tests on the ground are shown', async () => {
  const firings = await fetch_firings('third', 'v', 'v/charge/drogue');
  const { now, before } = like_it(firings, 3 * kDay_ms);
  expect(now).toBeUndefined();
  expect(before.map(({ utc_ms }) => day_of(utc_ms))).toEqual([1]);
});
