/** Urgency is counted: strokes in an upright box. A path for canvas and SVG alike, told apart without colour. */
import type { Level } from '../stream/messages';

export type Urgency = Exclude<Level, 'note'>;
export const kUrgencies: readonly Urgency[] = ['advisory', 'caution', 'warning'];

export const kBox = 'M0 0H14V16H0Z';
const kHollow = `${kBox}M2 2V14H12V2Z`;
const stroke = (x: number): string => `M${x} 4h2v8h-2z`;

/** One stroke, two, three on a filled box; filled by the even-odd rule in a box of 14 by 16, so that edges fall on pixels. */
export const kStrokes: Readonly<Record<Urgency, string>> = {
  advisory: kHollow + stroke(6),
  caution: kHollow + stroke(4) + stroke(8),
  warning: kBox + stroke(2) + stroke(6) + stroke(10),
};
export const kStrokesSize = { width: 14, height: 16 };
