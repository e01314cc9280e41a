/** A line of the tape for an SVG box as wide as its raster and 100 high. */
import type { TapeSeconds } from '../stream/clocks';
import type { History } from '../tape/history';
import type { ColumnRef } from '../tape/roles';
import type { Tape } from '../tape/tape';
import { Raster } from './strip/raster';
import { walk } from './strip/rows';

export const kBoxHeight = 100;

/** Rows of a column between two moments, from wherever the page has them. */
export function trace_of(
  tape: Tape,
  history: History | undefined,
  { table, column }: ColumnRef,
  from_s: TapeSeconds,
  to_s: TapeSeconds,
  width: number,
): Raster {
  const raster = new Raster();
  raster.begin(width, from_s, to_s - from_s);
  const data = tape.tables[table.id];
  if (!data) return raster;
  const past = history?.window(data, from_s, to_s, width);
  walk(
    data,
    column,
    from_s,
    to_s,
    past,
    (t_s, low, high, gap_s) => {
      if (t_s > to_s) return; // what comes after the cursor is not known there
      raster.add(t_s, low, gap_s);
      if (high !== low) raster.add(t_s, high, gap_s);
    },
    () => raster.break(),
  );
  return raster;
}

/** `y`: from a value to its place in the box. */
export function path_of(raster: Raster, y: (value: number) => number): string {
  let path = '';
  let last = NaN;
  for (let x = 0; x < raster.width; x++) {
    const [top, bottom] = [y(raster.high[x] ?? NaN), y(raster.low[x] ?? NaN)];
    if (!Number.isFinite(top) || !Number.isFinite(bottom)) {
      last = NaN;
      continue;
    }
    const from_top = Number.isNaN(last) || Math.abs(last - top) < Math.abs(last - bottom);
    const [first, second] = from_top ? [top, bottom] : [bottom, top];
    path += `${Number.isNaN(last) ? 'M' : 'L'}${x} ${first.toFixed(1)}`;
    if (Math.abs(second - first) > 0.05) path += `V${second.toFixed(1)}`;
    last = second;
  }
  return path;
}
