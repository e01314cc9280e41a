/** What stands in a strip's gutter: its lines' values at a moment, rounded to their ±. */
import type { TapeSeconds } from '../stream/clocks';
import { is_prediction, kRailFigures_s, stale_after_s } from '../tape/age';
import type { History } from '../tape/history';
import type { Series, Strip } from '../tape/strips';
import type { Tape } from '../tape/tape';
import { format_value, from_to, kNoValue } from '../text/format';
import { rounded } from '../text/rounding';

export interface StripValue {
  label: string;
  broken: boolean;
  text: string;
  /** "± 2", or "990 to 1180" for an interval. */
  spread: string;
  /** No newer row where there should be one. */
  old: boolean;
  number: number;
}

/** Value of a line at any moment: its newest row until then, or what history or overview hold of it. */
export function number_at(tape: Tape, history: History | undefined, series: Series, t_s: TapeSeconds): number {
  const data = tape.tables[series.table];
  if (!data) return NaN;
  if (data.columns.covers(t_s)) return data.columns.value(series.column, data.columns.find(t_s));
  const past = history?.at(data, t_s);
  if (past) return past.series.mean[series.column * past.series.rows + past.row] ?? NaN;
  const bin = Math.floor(t_s / data.overview.bin_s);
  return (data.overview.min(series.column, bin) + data.overview.max(series.column, bin)) / 2;
}

/** At the cursor, or at `hover_s` where that is a time. */
export function strip_values(
  tape: Tape,
  history: History | undefined,
  strip: Strip,
  hover_s: TapeSeconds,
): StripValue[] {
  const hovering = !Number.isNaN(hover_s);
  return strip.series.map((series) => {
    const { label, broken } = series;
    const data = tape.tables[series.table];
    const column = data?.table.columns[series.column];
    if (!data || !column) return { label, broken, text: kNoValue, spread: '', old: false, number: NaN };
    if (hovering) {
      const number = number_at(tape, history, series, hover_s);
      return { label, broken, text: format_value(column, number), spread: '', old: false, number };
    }
    const { value, t_s } = tape.value_at_cursor(series.table, series.column);
    const at = (place: number): number => (place < 0 ? NaN : tape.value_at_cursor(series.table, place).value);
    const [low, high] = [at(series.low), at(series.high)];
    const shown = rounded(column, value, at(series.sigma));
    const flying = tape.log.liftoff_s(data.table.vehicle, tape.cursor_s) !== undefined;
    const hold_s = is_prediction(data.table) && !flying ? kRailFigures_s : stale_after_s(data.table);
    const old = tape.cursor_s - t_s > hold_s;
    const interval = Number.isFinite(low) && Number.isFinite(high);
    const spread = interval ? from_to(format_value(column, low), format_value(column, high)) : shown.sigma;
    return { label, broken, text: shown.text, spread: old ? '' : spread, old, number: value };
  });
}
