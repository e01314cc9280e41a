/** Firings of one charge from several recordings, with a station that answers as told. */
import { afterEach, beforeEach, expect, it, vi } from 'vitest';
import { fetch_firings, like_it } from '../../src/test/earlier';

const kDay_ms = 86_400_000;

/** A day's recording, in which the charge fires at 100 s and, if it flew, 15 s after a liftoff at 500 s. */
const recording = (id: string, day: number) => ({
  id,
  name: '',
  notes: '',
  utc_start_ns: `${day * kDay_ms}000000`,
  t_end_s: 900,
  live: false,
  closed: true,
  file_bytes: 1,
  damage: '',
  vehicles: 'v, other',
});
const flight = (id: string, vehicle: string, duration_s: number) => ({
  id: `${id}~${vehicle}~1`,
  recording: id,
  vehicle,
  number: 1,
  figures: [],
  utc_liftoff_ns: null,
  liftoff_s: 500,
  from_s: 0,
  to_s: 900,
  duration_s,
  ended: 'touchdown',
});

/** One column, `lid_off`, in milliseconds the number of the row. */
function series(t_s: readonly number[]): ArrayBuffer {
  const bytes = new ArrayBuffer(16 + 16 * t_s.length);
  const view = new DataView(bytes);
  view.setUint32(0, 0x54535331, false);
  view.setUint16(6, 1, true);
  view.setUint32(8, t_s.length, true);
  t_s.forEach((t, i) => {
    view.setFloat64(16 + 8 * i, t, true);
    view.setFloat64(16 + 8 * (t_s.length + i), 0.001 * i, true);
  });
  return bytes;
}

const recordings = [recording('third', 3), recording('second', 2), recording('first', 1)];
const fired = new Map([
  ['first', [100, 515]], // tested in the morning, flown in the afternoon
  ['second', [515, 640]], // flown, and the other vehicle with it; once more when it was down
  ['third', [100, 515]], // two tests, while the other vehicle flew
]);
const description_of = (id: string) => ({
  version: 1,
  recording: recordings.find((one) => one.id === id),
  vehicles: [{ name: 'v' }, { name: 'other' }],
  tables: [{ id: 0, name: 'v/charge/drogue', kind: 'estimate', columns: [{ name: 'lid_off', unit: 's' }] }],
});
const log_book = {
  flights: [flight('first', 'v', 75), flight('second', 'v', 75), flight('third', 'other', 75)],
  recordings_without: [],
  removed: [],
};

beforeEach(() => {
  vi.stubGlobal('fetch', (path: string) => {
    const { pathname } = new URL(path, 'http://station');
    if (pathname === '/api/flights') return Promise.resolve(Response.json(log_book));
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
