/**
 * When something was last measured. An estimate goes on after its measurements end, so the age of a figure is the age of
 * the newest measurement behind it, never that of the row that was computed.
 */
import type { TapeSeconds } from '../stream/clocks';
import type { Table } from '../stream/description';
import type { Tape } from './tape';

export type Measured = 'height' | 'place' | 'attitude';

/** Roles of the channels that each rests on. */
const kRoles: Readonly<Record<Measured, readonly string[]>> = {
  height: ['static_pressure', 'accel_body_x', 'height_msl', 'onboard_altitude'],
  place: ['latitude'],
  attitude: ['rate_body_x'],
};
const kFixDimensions = 'fix_dimensions';
const kLeastDimensions = 2; // NMEA 0183, sentence GSA: 1 is no fix

const column_with = (table: Table, role: string): number => table.columns.findIndex((column) => column.role === role);

/** Time of the newest measurement at the cursor; NaN when a vehicle has no such channel or none has come. */
export function measured_s(tape: Tape, vehicle: number, what: Measured): TapeSeconds {
  let newest_s = NaN;
  for (const { table } of tape.tables) {
    if (table.vehicle !== vehicle || table.kind === 'estimate' || table.kind === 'link') continue;
    const column = kRoles[what].map((role) => column_with(table, role)).find((place) => place >= 0);
    if (column === undefined) continue;
    const t_s = what === 'place' ? fix_s(tape, table, column) : row_s(tape, table, column);
    if (!(newest_s >= t_s)) newest_s = t_s;
  }
  return newest_s;
}

function row_s(tape: Tape, table: Table, column: number): TapeSeconds {
  const { value, t_s } = tape.value_at_cursor(table.id, column);
  return Number.isNaN(value) ? NaN : t_s;
}

/** Of the newest row with a fix: receivers go on sending rows without one. */
function fix_s(tape: Tape, table: Table, column: number): TapeSeconds {
  const dimensions = column_with(table, kFixDimensions);
  const has_fix = (value: number, kind: number): boolean =>
    !Number.isNaN(value) && (dimensions < 0 || kind >= kLeastDimensions);
  const now = tape.value_at_cursor(table.id, column);
  const kind = dimensions < 0 ? NaN : tape.value_at_cursor(table.id, dimensions).value;
  if (has_fix(now.value, kind)) return now.t_s;
  const columns = tape.tables[table.id]?.columns;
  if (!columns) return NaN;
  for (let i = columns.find(tape.cursor_s); i >= 0; i--)
    if (has_fix(columns.value(column, i), columns.value(dimensions, i))) return columns.time(i);
  return NaN;
}
