/** The time axis under the strips. */
import { format_since, type Zero } from '../../tape/zero';
import type { Palette } from '../palette';
import type { Pen } from '../pen';
import { step_decimals, time_step_s } from '../ticks';
import type { Window } from './window';

const kHalfTag_px = 46;

export function draw_axis(
  pen: Pen,
  colours: Palette,
  width: number,
  height: number,
  { from_s, span_s }: Window,
  zero: Zero,
  /** Where the cursor's tag lies; NaN: nowhere. */
  tag_px = NaN,
): void {
  const step = time_step_s(span_s, width / 110);
  const decimals = Math.min(2, step_decimals(step));
  pen.fillStyle = colours.ink;
  pen.fillRect(0, 0, width, 1.5);
  pen.font = `13px ${colours.font}`;
  pen.textAlign = 'center';
  pen.textBaseline = 'middle';
  pen.fillStyle = colours.muted;
  for (let k = Math.ceil((from_s - zero.t_s) / step); zero.t_s + k * step <= from_s + span_s; k++) {
    const t_s = zero.t_s + k * step;
    const x = Math.round(((t_s - from_s) / span_s) * width);
    const text = format_since(zero, t_s, decimals);
    const half = pen.measureText(text).width / 2;
    pen.fillRect(x, 0, 1, 5);
    if (x < half || x > width - half || Math.abs(x - tag_px) < half + kHalfTag_px) continue;
    pen.fillText(text, x, height / 2 + 2);
  }
}
