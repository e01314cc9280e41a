/** Draws a strip whose values are words: a span for as long as each holds. */
import type { History } from '../../tape/history';
import type { Strip } from '../../tape/strips';
import type { Tape } from '../../tape/tape';
import { walk } from './rows';
import type { Frame } from './ground';

const kHalf_px = 11;

export function draw_words(
  { pen, colours, width, height, window, x }: Frame,
  tape: Tape,
  history: History,
  strip: Strip,
): void {
  const series = strip.series[0];
  const data = series && tape.tables[series.table];
  const column = data?.table.columns[series?.column ?? -1];
  if (!series || !data || !column) return;
  const top = Math.round(height / 2 - kHalf_px);
  let begin_s = NaN;
  let value = NaN;
  let last_s = NaN;
  pen.font = `12px ${colours.font}`;
  pen.textBaseline = 'middle';
  pen.textAlign = 'left';
  const close = (end_s: number): void => {
    if (Number.isNaN(value)) return;
    const left = Math.max(0, x(begin_s));
    const right = Math.min(width, x(end_s));
    if (right <= left) return;
    pen.fillStyle = Math.abs(Math.round(value)) % 2 === 0 ? colours.band_a : colours.band_b;
    pen.fillRect(left, top, Math.max(1.5, right - left), 2 * kHalf_px);
    pen.fillStyle = colours.muted;
    pen.fillRect(left, top, 1, 2 * kHalf_px);
    const text = column.enumeration.get(value) ?? String(value);
    if (pen.measureText(text).width + 12 < right - left) {
      pen.fillStyle = colours.ink;
      pen.fillText(text, left + 6, top + kHalf_px + 1);
    }
  };
  const { from_s, span_s } = window;
  const past = history.window(data, from_s, from_s + span_s, Math.max(1, Math.floor(width)));
  walk(
    data,
    series.column,
    from_s,
    from_s + span_s,
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
