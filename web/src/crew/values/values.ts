/** The value table: what the open strips say at the cursor, at a second cursor, and between both. */
import { number_at } from '../../strips/strip_values';
import type { TapeSeconds } from '../../stream/clocks';
import type { Column } from '../../stream/description';
import type { History } from '../../tape/history';
import type { Series, Strip } from '../../tape/strips';
import type { Tape } from '../../tape/tape';
import { format_value } from '../../text/format';
import { shown_unit } from '../../text/units';

export interface ValueRow {
  id: string;
  title: string;
  unit: string;
  at_cursor: string;
  /** Empty without a second cursor, and for words where a number would stand. */
  at_second: string;
  difference: string;
  per_s: string;
  least: string;
  greatest: string;
  mean: string;
}

const kNothing = { at_second: '', difference: '', per_s: '', least: '', greatest: '', mean: '' };

export function select_values(
  tape: Tape,
  history: History | undefined,
  strips: readonly Strip[],
  second_s: TapeSeconds,
): ValueRow[] {
  return strips.flatMap((strip) =>
    strip.series.flatMap((series, i) => {
      const column = tape.tables[series.table]?.table.columns[series.column];
      if (!column) return [];
      const { value } = tape.value_at_cursor(series.table, series.column);
      const row = {
        id: `${strip.id} ${i}`,
        title: series.label === '' ? strip.title : `${strip.title}, ${series.label}`,
        unit: strip.words ? '' : shown_unit(strip.unit).symbol,
        at_cursor: format_value(column, value),
      };
      if (Number.isNaN(second_s)) return [{ ...row, ...kNothing }];
      return [{ ...row, ...between(tape, history, series, column, strip.words, value, second_s) }];
    }),
  );
}

function between(
  tape: Tape,
  history: History | undefined,
  series: Series,
  column: Column,
  words: boolean,
  value: number,
  second_s: TapeSeconds,
): typeof kNothing {
  const second = number_at(tape, history, series, second_s);
  const at_second = format_value(column, second);
  if (words) return { ...kNothing, at_second };
  const apart_s = tape.cursor_s - second_s;
  const difference = value - second;
  // A difference has no offset: in degrees Celsius it is the same as in kelvins.
  const shift = shown_unit(column.unit).offset / shown_unit(column.unit).gain;
  const spread = spread_of(tape, series, Math.min(second_s, tape.cursor_s), Math.max(second_s, tape.cursor_s));
  return {
    at_second,
    difference: format_value(column, difference - shift),
    per_s: format_value(column, difference / apart_s - shift),
    least: format_value(column, spread.least),
    greatest: format_value(column, spread.greatest),
    mean: format_value(column, spread.mean),
  };
}

/** Over the rows between two moments; from the overview, which keeps no mean, where the page holds no rows. */
export function spread_of(
  tape: Tape,
  { table, column }: Pick<Series, 'table' | 'column'>,
  from_s: TapeSeconds,
  to_s: TapeSeconds,
): { least: number; greatest: number; mean: number } {
  let least = NaN;
  let greatest = NaN;
  let sum = 0;
  let count = 0;
  const take = (low: number, high: number): void => {
    if (!(least <= low)) least = Number.isNaN(low) ? least : low;
    if (!(greatest >= high)) greatest = Number.isNaN(high) ? greatest : high;
  };
  const data = tape.tables[table];
  if (!data) return { least, greatest, mean: NaN };
  const { columns, overview } = data;
  if (!columns.covers(from_s)) {
    for (
      let bin = Math.floor(from_s / overview.bin_s);
      bin <= Math.min(overview.used - 1, to_s / overview.bin_s);
      bin++
    )
      take(overview.min(column, bin), overview.max(column, bin));
    return { least, greatest, mean: NaN };
  }
  const end = columns.find(to_s);
  for (let i = Math.max(0, columns.find(from_s)); i <= end; i++) {
    const value = columns.value(column, i);
    if (columns.time(i) < from_s || Number.isNaN(value)) continue;
    take(value, value);
    sum += value;
    count++;
  }
  return { least, greatest, mean: count > 0 ? sum / count : NaN };
}
