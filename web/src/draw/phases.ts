/** Tints the ground by the phases of flight, the same way under the strips and on the tape. */
import type { TapeSeconds } from '../stream/clocks';
import type { PhaseSpan } from '../tape/events';
import type { Palette } from './palette';
import type { Pen } from './pen';

export function draw_phases(
  context: Pen,
  colours: Palette,
  phases: readonly PhaseSpan[],
  x: (t_s: TapeSeconds) => number,
  end_s: TapeSeconds,
  top: number,
  height: number,
): void {
  for (const phase of phases) {
    const left = x(phase.from_s);
    context.fillStyle = colours.tints.get(phase.phase) ?? colours.surface;
    context.fillRect(left, top, x(Math.min(phase.to_s, end_s)) - left, height);
  }
}
