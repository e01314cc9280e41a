/** When and where a vehicle was last measured to be: by a GNSS fix, of which receivers go on sending rows without one. */
import type { TapeSeconds } from '../../stream/clocks';
import type { Table } from '../../stream/description';
import type { AgeOf } from '../../text/age';
import { kFixOld_s } from '../age';
import { estimate } from '../estimates';
import { find_role } from '../roles';
import type { Tape } from '../tape';

const kLeavesPad_s = 2; // a receiver's newest fix at liftoff comes as late as this
const kLeastDimensions = 2; // NMEA 0183, sentence GSA: 1 is none

const column_with = (table: Table, role: string): number => table.columns.findIndex((column) => column.role === role);

/** Time of the newest fix at or before the cursor; NaN when a vehicle sends none or none has come. */
export function fix_s(tape: Tape, vehicle: number): TapeSeconds {
  let newest_s = NaN;
  for (const { table } of tape.tables) {
    const latitude = table.vehicle === vehicle && table.kind !== 'estimate' ? column_with(table, 'latitude') : -1;
    if (latitude < 0) continue;
    const t_s = newest_fix_s(tape, table, latitude, column_with(table, 'fix_dimensions'));
    if (!(newest_s >= t_s)) newest_s = t_s;
  }
  return newest_s;
}

function newest_fix_s(tape: Tape, table: Table, latitude: number, dimensions: number): TapeSeconds {
  const has_fix = (value: number, kind: number): boolean =>
    !Number.isNaN(value) && (dimensions < 0 || kind >= kLeastDimensions);
  const now = tape.value_at_cursor(table.id, latitude);
  const kind = dimensions < 0 ? NaN : tape.value_at_cursor(table.id, dimensions).value;
  if (has_fix(now.value, kind)) return now.t_s;
  const columns = tape.tables[table.id]?.columns;
  if (!columns) return NaN;
  for (let i = columns.find(tape.cursor_s); i >= 0; i--)
    if (has_fix(columns.value(latitude, i), columns.value(dimensions, i))) return columns.time(i);
  return NaN;
}

export interface MeasuredPlace {
  /** From the pad. */
  east_m: number;
  north_m: number;
  /** 1-sigma, horizontal. */
  sigma_m: number;
  t_s: TapeSeconds;
}

/** What was measured until just after liftoff is the pad, not where the vehicle has gone since. */
export const is_of_flight = (tape: Tape, vehicle: number, t_s: TapeSeconds): boolean =>
  t_s >= (tape.log.liftoff_s(vehicle, tape.cursor_s) ?? -Infinity) + kLeavesPad_s;

/** When a row of predictions counts from: one that was made on the rail tells times after ignition. */
export const predicted_s = (tape: Tape, vehicle: number, row_s: TapeSeconds): TapeSeconds =>
  Math.max(row_s, tape.log.liftoff_s(vehicle, tape.cursor_s) ?? -Infinity);

/** How far a predicted landing can be believed in flight. */
export interface LandingAge {
  of: AgeOf;
  age_s: number;
  old: boolean;
}

export function landing_age(tape: Tape, vehicle: number, row_s: TapeSeconds): LandingAge {
  const made_s = predicted_s(tape, vehicle, row_s);
  const receiver = find_role(tape.description, 'latitude', vehicle) !== undefined;
  const fixed_s = receiver ? fix_s(tape, vehicle) || estimate(tape, vehicle, 'last_place').t_s : made_s;
  const age_s = tape.cursor_s - Math.min(fixed_s, made_s);
  const of = !receiver || made_s < fixed_s ? 'prediction' : is_of_flight(tape, vehicle, fixed_s) ? 'fix' : 'no_fix';
  return { of, age_s, old: !(age_s <= kFixOld_s) };
}

/** Kept, however old, but of this flight. Navigation's only where a recording keeps none. */
export function measured_place(tape: Tape, vehicle: number): MeasuredPlace | undefined {
  const kept = estimate(tape, vehicle, 'last_place');
  const east_m = kept.value('east_m');
  if (kept.known && !is_of_flight(tape, vehicle, kept.t_s)) return undefined;
  if (Number.isFinite(east_m))
    return { east_m, north_m: kept.value('north_m'), sigma_m: kept.value('horizontal_sigma_m'), t_s: kept.t_s };
  return kept.known ? undefined : navigated_place(tape, vehicle);
}

function navigated_place(tape: Tape, vehicle: number): MeasuredPlace | undefined {
  const navigation = estimate(tape, vehicle, 'navigation');
  const [east_m, north_m] = [navigation.value('east_m'), navigation.value('north_m')];
  if (!Number.isFinite(east_m) || !Number.isFinite(north_m)) return undefined;
  const sigma_m = Math.hypot(navigation.sigma('east_m'), navigation.sigma('north_m')) / Math.SQRT2;
  const fixed_s = fix_s(tape, vehicle);
  return { east_m, north_m, sigma_m, t_s: Number.isNaN(fixed_s) ? navigation.t_s : Math.min(navigation.t_s, fixed_s) };
}
