/**
 * Strips are painted together, so that they never disagree about the time they show: at most twenty times a second, and
 * seldomer where a round of them takes so long that the rest of the page would wait for it.
 */
import { page_now, type PageMs } from '../../stream/clocks';
import { live_interval_ms, on_frame } from '../loop';

export interface Painter {
  /** Whether it is seen, and something on it would change. */
  wants(): boolean;
  paint(now_ms: PageMs): void;
}

const kCostPart = 4; // a round may take this part of the time until the next

const painters = new Set<Painter>();
let stop: (() => void) | undefined;
let begun_ms: PageMs = -Infinity;
let pause_ms = 0;

function frame(now_ms: PageMs): void {
  if (now_ms - begun_ms < pause_ms) return;
  const from_ms = page_now();
  let painted = 0;
  for (const painter of painters) {
    if (!painter.wants()) continue;
    painter.paint(now_ms);
    painted++;
  }
  if (painted === 0) return;
  begun_ms = now_ms;
  pause_ms = Math.max(live_interval_ms(), kCostPart * (page_now() - from_ms));
}

/** Paints with the others when asked for, until the returned function is called. */
export function paint_together(painter: Painter): () => void {
  painters.add(painter);
  stop ??= on_frame(frame);
  return () => {
    painters.delete(painter);
    if (painters.size > 0) return;
    stop?.();
    stop = undefined;
  };
}
