/** Walks over what the page holds of a column in the strips' window: rows where it has them, else history or overview. */
import type { Series } from '../../stream/blocks';
import { is_prediction, kRailLine_s } from '../../tape/age';
import type { TableData } from '../../tape/tape';

const kGapPeriods = 4;
const kGapMin_s = 0.08; // a lost packet or two is still one line; more is a gap

function gap_after_s(data: TableData): number {
  if (is_prediction(data.table)) return Math.max(kRailLine_s, kGapPeriods * data.table.period_s);
  return data.table.period_s > 0 ? Math.max(kGapMin_s, kGapPeriods * data.table.period_s) : Infinity;
}

export type Point = (t_s: number, low: number, high: number, gap_s: number, row: number) => void;

/** Calls for every piece of data that may touch the window, in order of time within each source. */
export function walk(
  data: TableData,
  column: number,
  from_s: number,
  to_s: number,
  series: Series | undefined,
  point: Point,
  restart: () => void,
): void {
  const gap_s = gap_after_s(data);
  const { columns, overview } = data;
  if (series) {
    const bin_s =
      series.decimated && series.rows > 1
        ? ((series.t_s[series.rows - 1] ?? 0) - (series.t_s[0] ?? 0)) / (series.rows - 1)
        : 0;
    restart();
    for (let i = 0; i < series.rows; i++) {
      const at = column * series.rows + i;
      point(series.t_s[i] ?? NaN, series.min[at] ?? NaN, series.max[at] ?? NaN, Math.max(gap_s, 2.5 * bin_s), -1);
    }
  } else if (!columns.covers(from_s)) {
    restart();
    const last = Math.min(overview.used - 1, Math.ceil(to_s / overview.bin_s));
    for (let b = Math.max(0, Math.floor(from_s / overview.bin_s) - 1); b <= last; b++) {
      if ((overview.rows[b] ?? 0) === 0) continue;
      point(
        (b + 0.5) * overview.bin_s,
        overview.min(column, b),
        overview.max(column, b),
        Math.max(gap_s, 2.5 * overview.bin_s),
        -1,
      );
    }
  }
  restart();
  // Straight through the ring: this runs for every row of every line twenty times a second.
  const times = columns.t_s;
  const values = columns.values[column];
  if (!values) return;
  const mask = columns.capacity - 1;
  const end = Math.min(columns.count - 1, columns.find(to_s) + 1);
  let i = Math.max(0, columns.find(from_s));
  for (let place = columns.place(i); i <= end; i++, place = (place + 1) & mask) {
    const value = values[place] ?? NaN;
    point(times[place] ?? NaN, value, value, gap_s, i);
  }
}
