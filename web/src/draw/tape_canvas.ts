/**
 * Draws the tape: the whole recording from edge to edge, its phases as tints, the altitude's outline, gaps hatched, what
 * happened in words above it, alerts under it, the strips' window, the cursor and the head.
 */
import type { TapeSeconds } from '../stream/clocks';
import type { Tape } from '../tape/tape';
import { format_since, type Zero } from '../tape/zero';
import { hatching } from './hatch';
import { draw_pennant, draw_strokes, mark_of } from './marks';
import { kUrgencies } from './strokes';
import { palette, type Palette } from './palette';
import { draw_phases } from './phases';
import type { Surface } from './surface';
import { name_places } from './tape_names';
import { time_step_s } from './ticks';

export interface TapeDrawing {
  tape: Tape;
  vehicle: number;
  zero: Zero;
  /** Table and column of the altitude outline; undefined: none. */
  profile: { table: number; column: number } | undefined;
  hover_s: TapeSeconds;
}

export interface TapeLayout {
  left: number;
  width: number;
  band_top: number;
  band_bottom: number;
  marks_y: number;
  labels_y: number;
  axis_y: number;
}

const kEdge = 14; // room for the cursor's handle and half a label at both ends
const kLabelHalf_px = 26; // half of a time of day
const kTick_px = 7;
const kGapMin_s = 1; // shorter silences are loss, which the link panel counts

export function tape_layout(surface: { width: number; height: number }): TapeLayout {
  const axis_y = surface.height - 8;
  const band_bottom = surface.height - 36;
  return {
    left: kEdge,
    width: surface.width - 2 * kEdge,
    band_top: 22,
    band_bottom,
    marks_y: band_bottom + 10,
    labels_y: 10,
    axis_y,
  };
}

/** Stretches without a packet of any kind, by pixel column of the tape. */
function find_gaps(tape: Tape, vehicle: number, width: number): { from_s: number; to_s: number }[] {
  const pixels = Math.max(1, Math.ceil(width));
  const heard = new Uint8Array(pixels);
  const extent_s = tape.extent_s;
  let period_s = Infinity;
  let bin_s = 0;
  let first_s = Infinity;
  for (const { table, overview } of tape.tables) {
    if ((table.kind !== 'packet' && table.kind !== 'batch') || table.vehicle !== vehicle) continue;
    if (table.period_s > 0) period_s = Math.min(period_s, table.period_s);
    bin_s = Math.max(bin_s, overview.bin_s);
    for (let b = 0; b < overview.used; b++) {
      if ((overview.rows[b] ?? 0) === 0) continue;
      first_s = Math.min(first_s, b * overview.bin_s);
      const from = Math.floor(((b * overview.bin_s) / extent_s) * pixels);
      const to = Math.min(pixels - 1, Math.floor((((b + 1) * overview.bin_s) / extent_s) * pixels));
      heard.fill(1, from, to + 1);
    }
  }
  const least_s = Math.max(kGapMin_s, period_s === Infinity ? 0 : 4 * period_s, 2.5 * bin_s);
  const gaps: { from_s: number; to_s: number }[] = [];
  let begin = -1;
  const end = Math.min(pixels, Math.floor((tape.head_s / extent_s) * pixels));
  for (let x = Math.max(0, Math.floor((first_s / extent_s) * pixels)); x <= end; x++) {
    if (x < end && heard[x] === 0) {
      if (begin < 0) begin = x;
    } else if (begin >= 0) {
      const gap = { from_s: (begin / pixels) * extent_s, to_s: (x / pixels) * extent_s };
      if (gap.to_s - gap.from_s >= least_s) gaps.push(gap);
      begin = -1;
    }
  }
  return gaps;
}

/** `ground`: what lies under window and cursor, drawn again when `changed`: a finger on the tape moves only these. */
export function draw_tape(surface: Surface, drawing: TapeDrawing, ground: HTMLCanvasElement, changed: boolean): void {
  const context = surface.begin();
  const colours = palette();
  const { tape } = drawing;
  const layout = tape_layout(surface);
  const extent_s = tape.extent_s;
  const x = (t_s: number): number => layout.left + (Math.min(Math.max(t_s, 0), extent_s) / extent_s) * layout.width;
  const under = changed ? ground.getContext('2d') : null;
  if (under) {
    [ground.width, ground.height] = [surface.canvas.width, surface.canvas.height];
    under.setTransform(context.getTransform());
    draw_ground(under, colours, drawing, layout, x);
  }
  context.drawImage(ground, 0, 0, surface.width, surface.height);
  draw_window(context, colours, drawing, layout, x);
  context.strokeStyle = colours.muted;
  context.lineWidth = 1;
  context.strokeRect(
    layout.left + 0.5,
    layout.band_top + 0.5,
    layout.width - 1,
    layout.band_bottom - layout.band_top - 1,
  );
  draw_events(context, colours, drawing, layout, x);
  draw_names(context, colours, drawing, layout, x);
  draw_axis(context, colours, drawing, layout, x);
  draw_cursor(context, colours, drawing, layout, x);
}

type Scale = (t_s: number) => number;

function draw_ground(
  context: CanvasRenderingContext2D,
  colours: Palette,
  drawing: TapeDrawing,
  layout: TapeLayout,
  x: Scale,
): void {
  const { tape, vehicle } = drawing;
  const { left, width, band_top: top, band_bottom } = layout;
  const height = band_bottom - top;
  context.fillStyle = colours.surface;
  context.fillRect(left, top, width, height);
  draw_phases(context, colours, tape.log.phases(vehicle), x, tape.head_s, top, height);
  draw_profile(context, colours, drawing, layout, x);
  context.fillStyle = hatching(context, colours);
  for (const gap of find_gaps(tape, vehicle, width))
    context.fillRect(x(gap.from_s), top, Math.max(2, x(gap.to_s) - x(gap.from_s)), height);
}

function draw_profile(
  context: CanvasRenderingContext2D,
  colours: Palette,
  drawing: TapeDrawing,
  layout: TapeLayout,
  x: Scale,
): void {
  const { profile, tape } = drawing;
  const overview = profile && tape.tables[profile.table]?.overview;
  if (!profile || !overview) return;
  let top = 20; // metres: sensor noise on the rail must not look like a flight
  for (let b = 0; b < overview.used; b++) top = Math.max(top, overview.max(profile.column, b) || 0);
  const { band_bottom } = layout;
  const height = band_bottom - layout.band_top - 6;
  context.fillStyle = colours.profile;
  context.beginPath();
  context.moveTo(x(0), band_bottom);
  let last = x(0);
  for (let b = 0; b < overview.used; b++) {
    const value = overview.max(profile.column, b);
    if (Number.isNaN(value)) continue;
    last = x((b + 0.5) * overview.bin_s);
    context.lineTo(last, band_bottom - 1 - (Math.max(0, value) / top) * height);
  }
  context.lineTo(last, band_bottom);
  context.closePath();
  context.fill();
}

/** What the strips do not show steps back; what they show keeps its full colour, between two heavy edges. */
function draw_window(
  context: CanvasRenderingContext2D,
  colours: Palette,
  drawing: TapeDrawing,
  layout: TapeLayout,
  x: Scale,
): void {
  const { tape } = drawing;
  const { band_top, band_bottom } = layout;
  const left = x(tape.from_s);
  const far_end = layout.left + layout.width;
  const right = Math.min(far_end, Math.max(left + 2, x(tape.to_s)));
  context.globalAlpha = 0.6;
  context.fillStyle = colours.ground;
  context.fillRect(layout.left, band_top, left - layout.left, band_bottom - band_top);
  context.fillRect(right, band_top, far_end - right, band_bottom - band_top);
  context.globalAlpha = 1;
  context.strokeStyle = colours.ink;
  context.lineWidth = 2.5;
  context.strokeRect(left, band_top, right - left, band_bottom - band_top);
}

const kEventNames: Readonly<Record<string, string>> = {
  liftoff: 'liftoff',
  apogee: 'apogee',
  touchdown: 'touchdown',
  main_out: 'main',
  drogue_out: 'drogue',
  burnout: 'burnout',
};
const kHigh_px = -4; // a flag's foot, from the band's upper edge
const kLow_px = 20;
const kMarkerWords = 24; // characters; the log has all of it

/** What happened, in words above the band: events of the flight first, then markers, newest first, as far as there is room. */
function draw_names(
  context: CanvasRenderingContext2D,
  colours: Palette,
  drawing: TapeDrawing,
  layout: TapeLayout,
  x: Scale,
): void {
  const { tape, vehicle } = drawing;
  context.font = `13px ${colours.font}`;
  context.textAlign = 'left';
  context.textBaseline = 'middle';
  const names = Object.keys(kEventNames);
  const flown = tape.log
    .flight_events(vehicle, tape.cursor_s)
    .filter(({ name }) => name in kEventNames)
    .toSorted((a, b) => names.indexOf(a.name) - names.indexOf(b.name))
    .map(({ name, t_s }) => ({ text: kEventNames[name] ?? name, t_s, pennant: false }));
  const entered = tape.log.events
    .filter((event) => mark_of(event) === 'marker')
    .map((event) => ({ text: event.text.slice(0, kMarkerWords), t_s: event.t_s, pennant: true }))
    .reverse();
  const all = [...flown, ...entered];
  const measured = all.map(({ text, t_s, pennant }) => ({
    at: x(t_s),
    width: context.measureText(text).width,
    flag: pennant,
  }));
  name_places(measured, layout.left, layout.left + layout.width).forEach(({ from, low }, i) => {
    const { text, t_s, pennant } = all[i] ?? { text: '', t_s: NaN, pennant: false };
    if (pennant) draw_pennant(context, colours, false, x(t_s), layout.band_top + (low ? kLow_px : kHigh_px));
    if (from === undefined) return;
    context.fillStyle = colours.ink;
    context.fillText(text, from, layout.labels_y);
  });
}

function draw_events(
  context: CanvasRenderingContext2D,
  colours: Palette,
  drawing: TapeDrawing,
  layout: TapeLayout,
  x: Scale,
): void {
  const { tape } = drawing;
  const raised = new Map<string, { t_s: number; colour: string }>();
  const bar = (from_s: number, to_s: number, colour: string): void => {
    context.fillStyle = colour;
    context.fillRect(x(from_s), layout.marks_y - 1, Math.max(1, x(to_s) - x(from_s)), 2.5);
  };
  for (const event of tape.log.events) {
    if (event.kind === 'alert_raised' && event.level !== 'note') {
      raised.set(event.key, { t_s: event.t_s, colour: colours[event.level] });
    } else if (event.kind === 'alert_cleared') {
      const begin = raised.get(event.key);
      if (begin) bar(begin.t_s, event.t_s, begin.colour);
      raised.delete(event.key);
    }
  }
  for (const begin of raised.values()) bar(begin.t_s, tape.head_s, begin.colour);
  const marks = tape.log.events
    .filter((event) => event.kind !== 'phase' && event.kind !== 'alert_cleared')
    .map((event) => ({ mark: mark_of(event), at: x(event.t_s) }));
  for (const { mark, at } of marks) {
    if (mark === 'event') {
      context.fillStyle = colours.ink;
      context.fillRect(Math.round(at) - 1, layout.band_bottom - kTick_px, 2, kTick_px);
    }
  }
  // The more urgent lies on top where they meet.
  for (const urgency of kUrgencies)
    for (const { mark, at } of marks) if (mark === urgency) draw_strokes(context, colours, urgency, at, layout.marks_y);
}

function draw_axis(
  context: CanvasRenderingContext2D,
  colours: Palette,
  drawing: TapeDrawing,
  layout: TapeLayout,
  x: Scale,
): void {
  const { zero } = drawing;
  const extent_s = drawing.tape.extent_s;
  const step = time_step_s(extent_s, layout.width / 90);
  context.font = `13px ${colours.font}`;
  context.fillStyle = colours.muted;
  context.textAlign = 'center';
  context.textBaseline = 'middle';
  for (let k = Math.ceil(-zero.t_s / step); zero.t_s + k * step <= extent_s; k++) {
    const t_s = zero.t_s + k * step;
    const at = x(t_s);
    if (at < layout.left + kLabelHalf_px || at > layout.left + layout.width - kLabelHalf_px) continue;
    context.fillText(format_since(zero, t_s, 0), at, layout.axis_y);
  }
}

function draw_cursor(
  context: CanvasRenderingContext2D,
  colours: Palette,
  drawing: TapeDrawing,
  layout: TapeLayout,
  x: Scale,
): void {
  const { tape, hover_s } = drawing;
  if (!Number.isNaN(hover_s)) {
    context.fillStyle = colours.hover;
    context.fillRect(x(hover_s) - 0.5, layout.band_top, 1, layout.band_bottom - layout.band_top);
  }
  if (tape.live) {
    const head = x(tape.head_s);
    context.fillStyle = colours.ink;
    context.beginPath();
    context.moveTo(head, layout.band_top + 2);
    context.lineTo(head + 9, (layout.band_top + layout.band_bottom) / 2);
    context.lineTo(head, layout.band_bottom - 2);
    context.closePath();
    context.fill();
  }
  const at = x(tape.cursor_s);
  context.fillStyle = colours.cursor;
  context.fillRect(at - 1.25, layout.band_top - 3, 2.5, layout.band_bottom - layout.band_top + 6);
}
