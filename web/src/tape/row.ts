/** Tables that are known by their name only, column by column. */
import type { TapeSeconds } from '../stream/clocks';
import type { Column, Table } from '../stream/description';
import { is_estimate } from './estimates';
import type { Tape } from './tape';

/** The row at the cursor of a table whose columns depend on the vehicle, or are asked for one at a time. */
export interface Row {
  table: Table;
  /** NaN without a row. */
  t_s: TapeSeconds;
  value(name: string): number;
  /** The word of an enumeration; empty without one. */
  word(name: string): string;
  column(name: string): Column | undefined;
}

/** Undefined when the recording has no such table. */
export function estimate_row(tape: Tape, vehicle: number, name: string): Row | undefined {
  const table = tape.description.tables.find((one) => one.vehicle === vehicle && is_estimate(one, name));
  if (!table) return undefined;
  const column = (wanted: string): Column | undefined => table.columns.find((one) => one.name === wanted);
  const value = (wanted: string): number => {
    const place = table.columns.findIndex((one) => one.name === wanted);
    return place < 0 ? NaN : tape.value_at_cursor(table.id, place).value;
  };
  return {
    table,
    t_s: tape.value_at_cursor(table.id, 0).t_s,
    value,
    word: (wanted) => column(wanted)?.enumeration.get(value(wanted)) ?? '',
    column,
  };
}
