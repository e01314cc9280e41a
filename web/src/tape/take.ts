/** Puts history from the server on the tape. */
import type { Series } from '../stream/blocks';
import type { TapeSeconds } from '../stream/clocks';
import type { Tape } from './tape';

/** A piece of some columns of one table, at these places: only for what is drawn of the whole tape. */
export function take_columns(tape: Tape, series: Series, places: readonly number[]): void {
  const data = tape.tables[series.table];
  if (!data || series.columns !== places.length) return;
  const { overview } = data;
  for (let i = 0; i < series.rows; i++) {
    const bin = overview.touch(series.t_s[i] ?? NaN);
    places.forEach((place, c) => {
      overview.take(bin, place, series.min[c * series.rows + i] ?? NaN);
      overview.take(bin, place, series.max[c * series.rows + i] ?? NaN);
    });
  }
  tape.data_version++;
}

/** A piece of every number column of one table. `complete`: it leaves nothing out. */
export function take_series(tape: Tape, series: Series, from_s: TapeSeconds, complete: boolean): void {
  const data = tape.tables[series.table];
  if (!data || series.columns !== data.table.number_count) return;
  take_columns(tape, series, [...data.table.columns.keys()].slice(0, series.columns));
  data.version++;
  if (series.decimated) return;
  const { columns } = data;
  series.t_s.forEach((t_s, i) => columns.push_row(t_s, series.min, series.rows, i));
  if (complete) columns.complete_from_s = Math.min(columns.complete_from_s, from_s);
}
