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
  const { columns, overview } = data;
  for (let i = 0; i < series.rows; i++) {
    const t_s = series.t_s[i] ?? NaN;
    const bin = overview.touch(t_s);
    for (let c = 0; c < series.columns; c++) {
      overview.take(bin, c, series.min[c * series.rows + i] ?? NaN);
      overview.take(bin, c, series.max[c * series.rows + i] ?? NaN);
    }
    if (!series.decimated) columns.push_row(t_s, series.min, series.rows, i);
  }
  if (!series.decimated && complete) columns.complete_from_s = Math.min(columns.complete_from_s, from_s);
  data.version++;
  tape.data_version++;
}
