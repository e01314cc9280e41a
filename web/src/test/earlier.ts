/** Earlier firings of a vehicle's charges: in this recording, and in the newest of those on the station's disk. */
import { fetch_description, fetch_recordings, fetch_series } from '../stream/api';
import type { Series } from '../stream/blocks';
import { utc_at, type TapeSeconds, type UtcMs } from '../stream/clocks';
import type { Column, Table } from '../stream/description';
import { charge_column } from './charge';

/** What is compared from test to test, with a short word for each. */
export const kCompared: readonly (readonly [string, string])[] = [
  ['lid_off', 'Lid off'],
  ['pulse_peak', 'Pulse'],
  ['shock', 'Shock'],
  ['battery_least', 'Least'],
];

export interface Firing {
  utc_ms: UtcMs;
  /** In the recording that is open, when; NaN in another. */
  t_s: TapeSeconds;
  /** Against other pressure and load than on a tether. */
  in_flight: boolean;
  /** By `kCompared`; NaN where the record has none. */
  values: readonly number[];
  columns: readonly (Column | undefined)[];
}

const kRecordingsMost = 12;
const kPoints = 1024;

/** The firing at a moment, and those before it that are like it: in flight those in flight, else those on the ground. */
export function like_it(
  firings: readonly Firing[],
  shown_ms: UtcMs,
): { now: Firing | undefined; before: readonly Firing[] } {
  const now = firings.find(({ utc_ms }) => Math.abs(utc_ms - shown_ms) <= 1);
  const in_flight = now?.in_flight ?? false;
  return { now, before: firings.filter((one) => one.utc_ms < shown_ms - 1 && one.in_flight === in_flight) };
}

function firings_in(series: Series, table: Table, utc_start_ms: UtcMs, here: boolean): Firing[] {
  const places = kCompared.map(([name]) => charge_column(table, name));
  const flown = charge_column(table, 'in_flight');
  const value = (place: number, row: number): number =>
    place < 0 ? NaN : (series.mean[place * series.rows + row] ?? NaN);
  return [...series.t_s].map((t_s, row) => ({
    utc_ms: utc_at(utc_start_ms, t_s),
    t_s: here ? t_s : NaN,
    in_flight: value(flown, row) === 1,
    values: places.map((place) => value(place, row)),
    columns: places.map((place) => table.columns[place]),
  }));
}

/** Newest first. `name`: of the charge's table. */
export async function fetch_firings(id: string, vehicle: string, name: string): Promise<Firing[]> {
  const recordings = (await fetch_recordings()).filter(
    (one) => one.id === id || one.vehicles.split(',').some((other) => other.trim() === vehicle),
  );
  const found: Firing[] = [];
  for (const recording of recordings.slice(0, kRecordingsMost)) {
    const description = await fetch_description(recording.id);
    const table = description.tables.find((one) => one.name === name);
    if (!table) continue;
    const series = await fetch_series(recording.id, { table: table.id, points: kPoints });
    found.push(...firings_in(series, table, description.recording.utc_start_ms, recording.id === id));
  }
  return found.toSorted((a, b) => b.utc_ms - a.utc_ms);
}
