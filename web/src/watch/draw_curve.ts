/** Draws the curve of those who watch: tinted by phase, measured line solid, what is predicted dotted, breaks hatched. */
import { hatching } from '../draw/hatch';
import type { Palette } from '../draw/palette';
import { draw_phases } from '../draw/phases';
import type { Surface } from '../draw/surface';
import { nice_step, time_step_s } from '../draw/ticks';
import { flight_time, type TapeSeconds } from '../stream/clocks';
import type { PhaseSpan } from '../tape/events';
import type { Tape } from '../tape/tape';
import { format_clock, format_span } from '../text/format';
import { unit_of, with_sigma, type Units } from '../text/viewer';
import { walk_measured, type Curve, type Point } from './curve';
import { goal_words, kCurveWords } from './wording';

export interface CurveDrawing {
  tape: Tape;
  vehicle: number;
  curve: Curve;
  units: Units;
  /** Nothing but the fall is of interest. */
  heads_up: boolean;
  /** Height of text and width of lines, pixels. */
  text_px: number;
  line_px: number;
}

interface Pen {
  context: CanvasRenderingContext2D;
  colours: Palette;
  width: number;
  /** Of the plot; the axis lies below. */
  height: number;
  text_px: number;
  x(t_s: TapeSeconds): number;
  y(up_m: number): number;
}

export function draw_curve(surface: Surface, colours: Palette, drawing: CurveDrawing): void {
  const context = surface.begin();
  const { curve, tape, text_px } = drawing;
  const { width } = surface;
  const height = surface.height - Math.round(1.7 * text_px);
  const pen: Pen = {
    context,
    colours,
    width,
    height,
    text_px,
    x: (t_s) => ((t_s - curve.from_s) / (curve.to_s - curve.from_s)) * width,
    y: (up_m) => height - (Math.max(0, up_m) / curve.top_m) * height,
  };
  context.fillStyle = colours.surface;
  context.fillRect(0, 0, width, height);
  context.font = `${text_px}px ${colours.font}`;
  context.textBaseline = 'middle';
  context.lineJoin = 'round';
  if (curve.flying) draw_ground(pen, drawing);
  draw_grid(pen, drawing);
  if (curve.flying) {
    draw_measured(pen, drawing);
    draw_phase_words(pen, drawing);
  }
  draw_future(pen, drawing);
  draw_scale(pen, drawing);
  if (curve.flying) draw_cursor(pen, tape.cursor_s, curve);
  draw_words(pen, drawing);
  draw_axis(pen, drawing);
}

function phases_of({ tape, vehicle, curve }: CurveDrawing): PhaseSpan[] {
  const end_s = Math.min(curve.to_s, tape.cursor_s);
  return tape.log.phases(vehicle).filter((phase) => phase.from_s < end_s && phase.to_s > curve.from_s);
}

const inside = (pen: Pen, t_s: TapeSeconds): number => Math.max(0, Math.min(pen.width, pen.x(t_s)));

function draw_ground(pen: Pen, drawing: CurveDrawing): void {
  const x = (t_s: TapeSeconds): number => inside(pen, t_s);
  draw_phases(pen.context, pen.colours, phases_of(drawing), x, drawing.tape.cursor_s, 0, pen.height);
}

/** Over the ground of each phase that has room for its name. */
function draw_phase_words(pen: Pen, drawing: CurveDrawing): void {
  const { context, colours, text_px } = pen;
  context.textAlign = 'left';
  for (const phase of phases_of(drawing)) {
    if (!colours.tints.has(phase.phase) || phase.phase === 'down') continue;
    const left = inside(pen, phase.from_s) + 0.3 * text_px;
    const room = inside(pen, Math.min(phase.to_s, drawing.tape.cursor_s)) - left;
    const lines = fitting(context, phase.text, room, pen.height > kTwoLines_em * text_px);
    context.fillStyle = colours.ink;
    lines.forEach((line, i) => context.fillText(line, left, (0.9 + 1.15 * i) * text_px));
  }
}

const kTwoLines_em = 12; // a lower plot has no room for a second line over the curve

/** In one line or two, if it fits at all. */
function fitting(context: CanvasRenderingContext2D, text: string, room: number, two: boolean): string[] {
  if (context.measureText(text).width <= room) return [text];
  if (!two) return [];
  const middle = text.indexOf(' ', text.length / 2 - 4);
  const lines = [text.slice(0, middle), text.slice(middle + 1)];
  return middle > 0 && lines.every((line) => context.measureText(line).width <= room) ? lines : [];
}

function grid_of({ curve, units }: CurveDrawing): { gain: number; step: number } {
  const { gain } = unit_of('length', units);
  return { gain, step: nice_step(curve.top_m * gain, 3) };
}

function draw_grid(pen: Pen, drawing: CurveDrawing): void {
  const { context, colours } = pen;
  const { gain, step } = grid_of(drawing);
  context.fillStyle = colours.rule;
  for (let up = step; up < drawing.curve.top_m * gain; up += step)
    context.fillRect(0, Math.round(pen.y(up / gain)), pen.width, 1);
}

function draw_scale(pen: Pen, drawing: CurveDrawing): void {
  const { context, colours, text_px } = pen;
  const { gain, step } = grid_of(drawing);
  const { symbol } = unit_of('length', drawing.units);
  context.textAlign = 'left';
  for (let up = step; up < drawing.curve.top_m * gain - 0.1 * step; up += step)
    plate(pen, `${up}\u00a0${symbol}`, 0.3 * text_px, pen.y(up / gain), colours.ink);
}

/** Text with the ground's colour around it, legible over lines. */
function plate({ context, colours }: Pen, text: string, x: number, y: number, colour: string): void {
  context.lineWidth = 4;
  context.strokeStyle = colours.surface;
  context.strokeText(text, x, y);
  context.fillStyle = colour;
  context.fillText(text, x, y);
}

function draw_measured(pen: Pen, drawing: CurveDrawing): void {
  const { context, colours } = pen;
  const { tape, vehicle, curve, heads_up, line_px } = drawing;
  const line = new Path2D();
  const breaks: { from_s: TapeSeconds; to_s: TapeSeconds }[] = [];
  let begun = false;
  let last_s = curve.zero_s;
  walk_measured(
    tape,
    vehicle,
    curve,
    (t_s, up_m) => {
      if (begun) line.lineTo(pen.x(t_s), pen.y(up_m));
      else {
        line.moveTo(pen.x(t_s), pen.y(up_m));
        if (breaks.length > 0) breaks[breaks.length - 1] = { from_s: last_s, to_s: t_s };
      }
      begun = true;
      last_s = t_s;
    },
    () => {
      begun = false;
      breaks.push({ from_s: last_s, to_s: last_s });
    },
  );
  if (tape.cursor_s - last_s > 1.5 && last_s > curve.zero_s) breaks.push({ from_s: last_s, to_s: tape.cursor_s });
  context.fillStyle = hatching(context, colours);
  for (const { from_s, to_s } of breaks) context.fillRect(pen.x(from_s), 0, pen.x(to_s) - pen.x(from_s), pen.height);
  context.strokeStyle = heads_up ? colours.ink : (colours.series[0] ?? colours.ink);
  context.lineWidth = heads_up ? 1.7 * line_px : line_px;
  context.stroke(line);
}

function draw_future(pen: Pen, { curve, line_px }: CurveDrawing): void {
  const { context, colours } = pen;
  if (curve.future.length === 0) return;
  context.save();
  context.strokeStyle = colours.ink;
  context.lineWidth = line_px;
  context.setLineDash([line_px, 2.25 * line_px]);
  context.beginPath();
  for (const point of curve.future) context.lineTo(pen.x(point.t_s), pen.y(point.up_m));
  context.stroke();
  context.restore();
}

function draw_words(pen: Pen, { curve, units }: CurveDrawing): void {
  const { colours, context, text_px } = pen;
  const say = (text: string, x: number, y: number, align: CanvasTextAlign): void => {
    const wide = context.measureText(text).width;
    const left = align === 'center' ? x - wide / 2 : x;
    const fits = Math.min(pen.width - wide - 4, Math.max(4, left));
    context.textAlign = 'left';
    plate(pen, text, fits, y, colours.ink);
  };
  const length = ({ up_m, sigma_m = NaN }: Point): string => {
    const { text, unit } = with_sigma('length', up_m, sigma_m, units);
    return `${text}\u00a0${unit}`;
  };
  if (curve.apogee)
    say(
      `${kCurveWords.apogee} ${length(curve.apogee)}`,
      pen.x(curve.apogee.t_s) + text_px,
      pen.y(curve.apogee.up_m),
      'left',
    );
  const { goal } = curve;
  if (!goal) return;
  if (goal.what === 'apogee')
    say(goal_words.apogee(length(goal)), pen.x(goal.t_s), pen.y(goal.up_m) - 1.1 * text_px, 'center');
  else
    say(
      goal_words[goal.what](`T${format_clock(flight_time(curve.zero_s, goal.t_s), 0)}`),
      pen.x(goal.t_s),
      pen.height - 1.1 * text_px,
      'center',
    );
}

function draw_axis(pen: Pen, { curve, tape }: CurveDrawing): void {
  const { context, colours, text_px } = pen;
  context.fillStyle = colours.ink;
  context.fillRect(0, pen.height - 1, pen.width, 1.5);
  const y = pen.height + 0.95 * text_px;
  context.textAlign = 'center';
  const taken: { from: number; to: number }[] = [];
  const put = (text: string, t_s: TapeSeconds, tag: boolean): void => {
    const wide = context.measureText(text).width + (tag ? 0.8 : 0.5) * text_px;
    const left = Math.max(0, Math.min(pen.width - wide, pen.x(t_s) - wide / 2));
    if (taken.some(({ from, to }) => left < to && left + wide > from)) return;
    taken.push({ from: left, to: left + wide });
    if (tag) {
      context.fillStyle = colours.accent;
      context.fillRect(left, y - 0.7 * text_px, wide, 1.4 * text_px);
    }
    context.fillStyle = tag ? colours.on_accent : colours.muted;
    context.fillText(text, left + wide / 2, y);
  };
  const since = (t_s: TapeSeconds): string => format_clock(flight_time(curve.zero_s, t_s), 0);
  if (curve.flying) {
    context.font = `700 ${text_px}px ${colours.font}`;
    put(`T${since(tape.cursor_s)}`, Math.min(tape.cursor_s, curve.to_s), true);
    context.font = `${text_px}px ${colours.font}`;
  }
  put(kCurveWords.liftoff, curve.zero_s, false);
  const step = time_step_s(curve.to_s - curve.from_s, Math.max(2, pen.width / (7 * text_px)));
  for (let t_s = curve.zero_s + step; t_s < curve.to_s; t_s += step)
    put(curve.flying ? since(t_s) : format_span(t_s - curve.zero_s), t_s, false);
}

function draw_cursor({ context, colours, x, height }: Pen, cursor_s: TapeSeconds, curve: Curve): void {
  if (cursor_s > curve.to_s) return;
  context.fillStyle = colours.cursor;
  context.fillRect(x(cursor_s) - 1.25, 0, 2.5, height);
}
