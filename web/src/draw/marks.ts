/**
 * The page's marks, each a path for canvas and SVG alike, told apart without colour. Links and landing cases speak in lines. An operator's marker is a pennant, any other event a tick.
 */
import type { TapeEvent } from '../stream/messages';
import type { LandingCaseName } from '../tape/estimates';
import type { Palette } from './palette';
import { kBox, kStrokes, kStrokesSize, type Urgency } from './strokes';

export type Mark = Urgency | 'marker' | 'event';

/** A pole with its foot at 0, 0 and a flag to the right. */
export const kPennant = { pole: 'M0 0V-15', flag: 'M0-15L10-11.25L0-7.5Z' };

export interface LinkLine {
  path: string;
  dash: readonly number[];
  /** Drawn unbroken beside the path. */
  bar: string;
}

const kThrough = 'M2 6H44';
const kDots = [0.1, 6];

/** Lines in a box of 46 by 12, by the state of a link. */
const kLinkLines: Readonly<Record<string, LinkLine>> = {
  open: { path: kThrough, dash: [], bar: '' },
  opening: { path: kThrough, dash: kDots, bar: '' },
  no_data: { path: kThrough, dash: [9, 6], bar: '' },
  lost: { path: 'M2 8.5H18L22 3M26 9L30 3.5H44', dash: [], bar: '' },
  cannot_open: { path: 'M2 6H28', dash: kDots, bar: 'M34 0V12' },
  end_of_file: { path: 'M2 6H34', dash: [], bar: 'M34 0V12' },
};
const kNoLine: LinkLine = { path: '', dash: [], bar: '' };

export const link_line = (state: string): LinkLine => kLinkLines[state] ?? kNoLine;
export const is_dotted = (line: LinkLine): boolean => line.dash === kDots;

/** Line pattern and letter of each landing case; B is for ballistic. */
export const kCaseMarks: Readonly<Record<LandingCaseName, { letter: string; dash: readonly number[] }>> = {
  nominal: { letter: 'N', dash: [] },
  late_opening: { letter: 'L', dash: [16, 4] },
  drogue_fails: { letter: 'D', dash: [10, 5] },
  main_fails: { letter: 'M', dash: [10, 4, 2.5, 4] },
  main_at_apogee: { letter: 'A', dash: [5, 5] },
  no_parachute: { letter: 'B', dash: [2.5, 4] },
};

export function mark_of(event: TapeEvent): Mark {
  if (event.kind === 'marker' || event.kind === 'note') return 'marker';
  return event.level === 'note' || event.kind === 'alert_cleared' ? 'event' : event.level;
}

/** `x`, `y`: middle of the box. */
export function draw_strokes(
  context: CanvasRenderingContext2D,
  colours: Palette,
  urgency: Urgency,
  x: number,
  y: number,
): void {
  const left = Math.round(x - kStrokesSize.width / 2);
  const top = Math.round(y - kStrokesSize.height / 2);
  context.save();
  context.translate(left, top);
  context.fillStyle = colours.surface;
  context.fill(new Path2D(kBox));
  context.fillStyle = colours[urgency];
  context.fill(new Path2D(kStrokes[urgency]), 'evenodd');
  context.restore();
}

/** `x`, `y`: foot of the pole. Filled: a measured place; open: an operator's marker, or a place that is old. */
export function draw_pennant(
  context: CanvasRenderingContext2D,
  colours: Palette,
  filled: boolean,
  x: number,
  y: number,
): void {
  context.save();
  context.translate(Math.round(x) + 0.25, y);
  const flag = new Path2D(kPennant.flag);
  context.fillStyle = filled ? colours.ink : colours.surface;
  context.strokeStyle = colours.ink;
  context.lineWidth = 1.5;
  context.lineJoin = 'round';
  context.fill(flag);
  context.stroke(flag);
  context.stroke(new Path2D(kPennant.pole));
  context.restore();
}
