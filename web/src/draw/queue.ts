/**
 * Strips are painted in turn, so many in a frame as fit into a part of it: on a slow device they come a frame apart
 * instead of holding the whole page up, and none is passed over.
 */
import { page_now, type PageMs } from '../stream/clocks';
import { on_frame } from './loop';

export interface Painter {
  /** Whether it is seen, and something on it would change. */
  wants(now_ms: PageMs): boolean;
  paint(now_ms: PageMs): void;
}

const kFramePart_ms = 10; // of the 16.7 ms at 60 frames a second; layout, figures and messages need the rest

const painters: Painter[] = [];
let next = 0;
let stop: (() => void) | undefined;

function frame(now_ms: PageMs): void {
  const begin_ms = page_now();
  for (let left = painters.length; left > 0; left--) {
    next = (next + 1) % painters.length;
    const painter = painters[next];
    if (!painter?.wants(now_ms)) continue;
    painter.paint(now_ms);
    if (page_now() - begin_ms > kFramePart_ms) return;
  }
}

/** Paints when asked for, until the returned function is called. */
export function paint_in_turn(painter: Painter): () => void {
  painters.push(painter);
  stop ??= on_frame(frame);
  return () => {
    const place = painters.indexOf(painter);
    if (place >= 0) painters.splice(place, 1);
    if (painters.length > 0) return;
    stop?.();
    stop = undefined;
  };
}
