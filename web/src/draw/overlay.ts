/** What lies over the strips and changes more often than they do: cursor, hover line, event lines, and the time axis. */
import type { Tape } from '../tape/tape';
import { format_since, type Zero } from '../tape/zero';
import { palette } from './palette';
import type { Surface } from './surface';
import { step_decimals, time_step_s } from './ticks';

export function draw_lines(surface: Surface, tape: Tape, vehicle: number, hover_s: number): void {
  const context = surface.begin();
  const colours = palette();
  const { width, height } = surface;
  const x = (t_s: number): number => ((t_s - tape.from_s) / tape.span_s) * width;
  const line = (t_s: number, colour: string, thickness: number, dash: number[]): void => {
    const at = Math.round(x(t_s)) + (thickness % 2) / 2;
    if (at < -2 || at > width + 2) return;
    context.strokeStyle = colour;
    context.lineWidth = thickness;
    context.setLineDash(dash);
    context.beginPath();
    context.moveTo(at, 0);
    context.lineTo(at, height);
    context.stroke();
  };
  for (const phase of tape.log.phases(vehicle)) line(phase.from_s, colours.muted, 1, [2, 4]);
  if (!Number.isNaN(hover_s)) line(hover_s, colours.hover, 1, []);
  line(tape.cursor_s, colours.cursor, 2, []);
  context.setLineDash([]);
}

export function draw_axis(surface: Surface, tape: Tape, zero: Zero, hover_s: number): void {
  const context = surface.begin();
  const colours = palette();
  const { width, height } = surface;
  const x = (t_s: number): number => ((t_s - tape.from_s) / tape.span_s) * width;
  const step = time_step_s(tape.span_s, width / 110);
  const decimals = Math.min(2, step_decimals(step));
  context.font = `11px ${colours.font}`;
  context.textAlign = 'center';
  context.textBaseline = 'middle';
  const taken: { from: number; to: number }[] = [];
  const flag = (t_s: number, ground: string): void => {
    const text = format_since(zero, t_s, 2);
    const wide = context.measureText(text).width + 10;
    const from = Math.min(width - wide, Math.max(0, x(t_s) - wide / 2));
    taken.push({ from, to: from + wide });
    context.fillStyle = ground;
    context.fillRect(from, 2, wide, height - 4);
    context.fillStyle = colours.surface;
    context.fillText(text, from + wide / 2, height / 2 + 1);
  };
  if (tape.cursor_s >= tape.from_s && tape.cursor_s <= tape.to_s) flag(tape.cursor_s, colours.cursor);
  if (!Number.isNaN(hover_s)) flag(hover_s, colours.hover);
  context.fillStyle = colours.muted;
  for (let k = Math.ceil((tape.from_s - zero.t_s) / step); zero.t_s + k * step <= tape.to_s; k++) {
    const t_s = zero.t_s + k * step;
    const at = Math.round(x(t_s));
    const text = format_since(zero, t_s, decimals);
    const half = context.measureText(text).width / 2 + 4;
    const free = at > half && at < width - half && taken.every((span) => at + half < span.from || at - half > span.to);
    if (!free) continue;
    context.fillRect(at, 0, 1, 4);
    context.fillText(text, at, height / 2 + 2);
  }
}
