/** What lies under and beside the lines of a strip: phases, gaps, grid, limits and the dotted future. */
import type { TapeSeconds } from '../../stream/clocks';
import type { Limit } from '../../stream/description';
import type { PhaseSpan } from '../../tape/events';
import type { FuturePoint } from '../../tape/flight/future';
import { format_fixed, format_size } from '../../text/format';
import { shown_unit, shown_value } from '../../text/units';
import { kChain, type Palette } from '../palette';
import { hatch, line, write, type Pen } from '../pen';
import type { Raster } from './raster';
import { step_decimals, time_step_s } from '../ticks';
import type { Window } from './window';

export interface Frame {
  pen: Pen;
  colours: Palette;
  width: number;
  height: number;
  window: Window;
  x(t_s: TapeSeconds): number;
}

export const kNoteType_px = 12;
const kLimitWords_px = 52;
const kLimitWordsApart_px = 14; // words closer than that stand behind each other
const kTickWords_px = 40; // names of phases give way to the axis
const kFutureDash: readonly number[] = [2, 4.5];

export function draw_time_grid({ pen, colours, width, height, window, x }: Frame, zero_s: TapeSeconds): void {
  const step = time_step_s(window.span_s, width / 110);
  pen.fillStyle = colours.rule;
  for (let k = Math.ceil((window.from_s - zero_s) / step); zero_s + k * step <= window.from_s + window.span_s; k++)
    pen.fillRect(Math.round(x(zero_s + k * step)), 0, 1, height);
}

/** Each phase by its name where it begins, as far as the name has room there. */
export function draw_phase_names(frame: Frame, phases: readonly PhaseSpan[], end_s: TapeSeconds): void {
  const { pen, colours, width, x } = frame;
  pen.font = `${kNoteType_px}px ${colours.font}`;
  pen.textAlign = 'left';
  pen.textBaseline = 'middle';
  pen.fillStyle = colours.ink;
  for (const phase of phases) {
    const left = Math.max(kTickWords_px, x(phase.from_s)) + 4;
    const right = Math.min(width, x(Math.min(phase.to_s, end_s)));
    if (pen.measureText(phase.text).width + 2 <= right - left) pen.fillText(phase.text, left, 9);
  }
}

/**
 * Hatches where the strip's lines have nothing although there was something before: longer than loss explains.
 * `before`: a row lies left of the window. `least_s`: what is shorter is loss, or waits for the next row.
 */
export function draw_gaps(
  frame: Frame,
  lines: readonly Raster[],
  before: boolean,
  until_s: TapeSeconds,
  least_s: number,
): void {
  const { pen, colours, height, window, x } = frame;
  const first = lines[0];
  if (!first) return;
  const pixel_s = window.span_s / Math.max(1, first.width);
  const end = Math.min(first.width, Math.floor(x(until_s)));
  let begin = before ? 0 : -1;
  for (let column = 0; column <= end; column++) {
    const empty = column < end && lines.every((raster) => Number.isNaN(raster.low[column] ?? NaN));
    if (empty) continue;
    if (begin >= 0 && (column - begin) * pixel_s >= least_s) {
      pen.fillStyle = colours.surface;
      pen.fillRect(begin, 0, column - begin, height);
      hatch(pen, colours.hatch, begin, 0, column - begin, height);
    }
    begin = column + 1;
  }
}

/** "7.4 V", "200 MB" */
export function limit_words(unit: string, value: number): string {
  if (unit === 'By') return format_size(value);
  const number = shown_value(unit, value);
  const figure = format_fixed(number, step_decimals(Math.abs(number) || 1) + 1).replace(/\.0+$/, '');
  return `${figure} ${shown_unit(unit).symbol}`;
}

/** Chain lines with their words; beyond what is valid a tint as well, so that it does not rest on the line alone. */
export function draw_limits(
  frame: Frame,
  limits: readonly Limit[],
  unit: string,
  y: (value: number) => number,
  low: number,
  high: number,
): void {
  const { pen, colours, width, height } = frame;
  const written: { y: number; end: number }[] = [];
  for (const limit of limits) {
    if (!(limit.value > low && limit.value < high)) continue;
    const at = Math.round(y(limit.value)) + 0.5;
    const opens = limit.level === 'opens';
    pen.fillStyle = opens ? 'transparent' : colours.range;
    if (limit.side === 'low') pen.fillRect(0, at, width, height - at);
    else pen.fillRect(0, 0, width, at);
    pen.strokeStyle = colours.limit;
    pen.lineWidth = 1.5;
    pen.setLineDash(kChain);
    line(pen, 0, at, width, at);
    pen.setLineDash([]);
    const said = opens ? `${limit.name ?? ''} opens below` : limit.side === 'low' ? 'least' : 'most';
    const words = `${said} ${limit_words(unit, limit.value)}`;
    pen.font = `${kNoteType_px}px ${colours.font}`;
    pen.textAlign = 'left';
    pen.textBaseline = 'middle';
    const words_y = at > 14 ? at - 8 : at + 9;
    const beside = written.filter((one) => Math.abs(one.y - words_y) < kLimitWordsApart_px).map((one) => one.end);
    const left = Math.max(kLimitWords_px, ...beside.map((end) => end + kLimitWordsApart_px));
    write(pen, words.trim(), left, words_y, colours.ink, colours.surface);
    written.push({ y: words_y, end: left + pen.measureText(words.trim()).width });
  }
}

/** What is to come is ink dots, never the colour of what was measured. */
export function draw_future(frame: Frame, points: readonly FuturePoint[], y: (value: number) => number): void {
  const { pen, colours, x } = frame;
  pen.strokeStyle = colours.ink;
  pen.lineWidth = 2;
  pen.setLineDash(kFutureDash);
  pen.beginPath();
  points.forEach((point, i) =>
    i === 0 ? pen.moveTo(x(point.t_s), y(point.value)) : pen.lineTo(x(point.t_s), y(point.value)),
  );
  pen.stroke();
  pen.setLineDash([]);
}
