/** Draws a strip whose values are words: a span for as long as each holds. */
import type { History } from '../tape/history';
import type { Strip } from '../tape/strips';
import type { Tape } from '../tape/tape';
import type { Palette } from './palette';
import { walk } from './rows';
import type { Surface } from './surface';

export function draw_words(
  context: CanvasRenderingContext2D,
  colours: Palette,
  surface: Surface,
  tape: Tape,
  history: History,
  strip: Strip,
): void {
  const series = strip.series[0];
  const data = series && tape.tables[series.table];
  const column = data?.table.columns[series?.column ?? -1];
  if (!series || !data || !column) return;
  const { width, height } = surface;
  const x = (t_s: number): number => ((t_s - tape.from_s) / tape.span_s) * width;
  const top = Math.round(height / 2 - 11);
  let begin_s = NaN;
  let value = NaN;
  let last_s = NaN;
  context.textBaseline = 'middle';
  context.textAlign = 'left';
  const close = (end_s: number): void => {
    if (Number.isNaN(value)) return;
    const left = Math.max(0, x(begin_s));
    const right = Math.min(width, x(end_s));
    if (right <= left) return;
    context.fillStyle = Math.abs(Math.round(value)) % 2 === 0 ? colours.band_a : colours.band_b;
    context.fillRect(left, top, Math.max(1.5, right - left), 22);
    context.fillStyle = colours.muted;
    context.fillRect(left, top, 1, 22);
    const text = column.enumeration.get(value) ?? String(value);
    if (context.measureText(text).width + 12 < right - left) {
      context.fillStyle = colours.ink;
      context.fillText(text, left + 6, top + 12);
    }
  };
  const past = history.window(data, tape.from_s, tape.to_s, Math.max(1, Math.floor(width)));
  walk(
    data,
    series.column,
    tape.from_s,
    tape.to_s,
    past,
    (t_s, low, high, gap_s) => {
      if (Number.isNaN(low) || (!Number.isNaN(last_s) && t_s < last_s)) return;
      if (t_s - last_s > gap_s) {
        close(last_s);
        value = NaN;
      }
      // A bin over a change holds both words: the change is drawn at the bin.
      const next = high === value ? low : high;
      if (next !== value) {
        close(t_s);
        begin_s = t_s;
        value = next;
      }
      last_s = t_s;
    },
    () => undefined,
  );
  close(last_s);
}
