/** The strips' window as it is painted. Pure. */
import type { TapeSeconds } from '../../stream/clocks';
import type { Tape } from '../../tape/tape';

export interface Window {
  from_s: TapeSeconds;
  span_s: number;
}

const kStep_px = 2;

/**
 * While it rides with the head the window moves by whole steps of pixels, of which it is `width` wide: a line that moves
 * by less would only shimmer, and between two steps nothing has to be painted.
 */
export function painted_window(tape: Tape, width: number): Window {
  const { from_s, span_s } = tape;
  if (!tape.following || from_s === 0) return { from_s, span_s };
  const step_s = (kStep_px * span_s) / Math.max(1, width);
  return { from_s: Math.floor(from_s / step_s) * step_s, span_s };
}
