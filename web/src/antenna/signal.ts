/** Received strength and loss of a vehicle's radio, for whoever holds its antenna. */
import type { TapeSeconds } from '../stream/clocks';
import { stale_after_s } from '../tape/age';
import { last_heard_s, link_ref, link_value, newest_link } from '../tape/links';
import { find_role, type ColumnRef } from '../tape/roles';
import type { Tape } from '../tape/tape';

export interface Signal {
  /** Channel of the strength; undefined when the vehicle sends none. */
  strength: ColumnRef | undefined;
  strength_dbm: number;
  best_dbm: number;
  strength_old: boolean;
  loss: ColumnRef | undefined;
  /** Fraction of the last 10 s. */
  loss_fraction: number;
  /** No packet comes, so that nothing can be counted. */
  silent: boolean;
}

export function signal_at(tape: Tape, vehicle: number): Signal {
  const strength = find_role(tape.description, 'radio_rssi', vehicle);
  const link = newest_link(tape, vehicle);
  const loss = link_ref(link, 'loss_10s');
  const silent = last_heard_s(tape, vehicle) < tape.cursor_s;
  const at = (ref: ColumnRef | undefined): { value: number; t_s: TapeSeconds } =>
    ref ? tape.value_at_cursor(ref.table.id, ref.column) : { value: NaN, t_s: NaN };
  const old = (ref: ColumnRef | undefined): boolean =>
    ref !== undefined && tape.cursor_s - at(ref).t_s > stale_after_s(ref.table);
  return {
    strength,
    strength_dbm: at(strength).value,
    best_dbm: strength ? best_before(tape, strength) : NaN,
    strength_old: old(strength),
    loss,
    loss_fraction: silent ? NaN : link_value(tape, link, 'loss_10s'),
    silent,
  };
}

/** Of what the tape's overview holds up to the cursor. */
function best_before(tape: Tape, { table, column }: ColumnRef): number {
  const overview = tape.tables[table.id]?.overview;
  if (!overview) return NaN;
  let best = NaN;
  const last = Math.min(overview.used - 1, Math.floor(tape.cursor_s / overview.bin_s));
  for (let bin = 0; bin <= last; bin++) {
    const value = overview.max(column, bin);
    if (!(value <= best)) best = Number.isFinite(value) ? value : best;
  }
  return best;
}

export interface Trace {
  /** For a box of 1000 by 100, breaks where rows are missing. */
  path: string;
  low: number;
  high: number;
}

const kGapPeriods = 4;
const kPad = 0.1;

/** A line of the last `span_s` seconds, on a scale of at least `least_range`; undefined without two values. */
export function trace_of(
  tape: Tape,
  { table, column }: ColumnRef,
  span_s: number,
  least_range: number,
  lowest = -Infinity,
): Trace | undefined {
  const columns = tape.tables[table.id]?.columns;
  if (!columns) return undefined;
  const to_s = tape.cursor_s;
  const from_s = to_s - span_s;
  const points: { t_s: TapeSeconds; value: number }[] = [];
  for (let i = columns.find(from_s) + 1; i < columns.count && columns.time(i) <= to_s; i++)
    points.push({ t_s: columns.time(i), value: columns.value(column, i) });
  const values = points.map(({ value }) => value).filter(Number.isFinite);
  if (values.length < 2) return undefined;
  const middle = (Math.min(...values) + Math.max(...values)) / 2;
  const half = Math.max(least_range, Math.max(...values) - Math.min(...values)) * (0.5 + kPad);
  const low = Math.max(lowest, middle - half);
  const high = low + 2 * half;
  const gap_s = table.period_s > 0 ? kGapPeriods * table.period_s : Infinity;
  let path = '';
  let before_s = -Infinity;
  for (const { t_s, value } of points) {
    if (!Number.isFinite(value)) {
      before_s = -Infinity;
      continue;
    }
    const x = (1000 * (t_s - from_s)) / span_s;
    const y = (100 * (high - value)) / (high - low);
    path += `${t_s - before_s > gap_s ? 'M' : 'L'}${x.toFixed(1)} ${y.toFixed(1)}`;
    before_s = t_s;
  }
  return { path, low, high };
}
