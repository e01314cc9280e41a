/**
 * Strips are painted together, so that they never disagree about the time they show: some twenty times a second, as soon as
 * there is something new, and seldomer where a round of them takes so long that the rest of the page would wait for it.
 */
import { page_now, type PageMs } from '../../stream/clocks';
import { live_interval_ms, on_frame } from '../loop';

export interface Painter {
  /** Whether it is seen, and something on it would change. */
  wants(): boolean;
  /** Changes whenever rows came. */
  news(): number;
  paint(now_ms: PageMs): void;
}

const kSoonPart = 0.6; // of the time between two rounds: what is new waits no longer
const kRestParts = 3; // after a round the page has this many times as long for the rest
const kRestMost_ms = 500; // a computer that is busy with other work makes a round seem long

const painters = new Set<Painter>();
/** Those that have painted nothing yet: an empty strip says nothing, so it waits for no round. */
const blank = new Set<Painter>();
let stop: (() => void) | undefined;
let next_ms: PageMs = -Infinity;
let soon_ms: PageMs = -Infinity;
let painted_news = NaN;

function frame(now_ms: PageMs): void {
  const [any] = painters;
  const news = any?.news() ?? NaN;
  const round = now_ms >= (news === painted_news ? next_ms : soon_ms);
  const from_ms = page_now();
  let painted = 0;
  for (const painter of round ? painters : blank) {
    if (!painter.wants()) continue;
    painter.paint(now_ms);
    blank.delete(painter);
    painted++;
  }
  if (!round || painted === 0) return;
  const to_ms = page_now();
  const rest_ms = Math.min(kRestMost_ms, kRestParts * (to_ms - from_ms));
  next_ms = now_ms + Math.max(live_interval_ms(), to_ms - from_ms + rest_ms);
  soon_ms = now_ms + Math.max(kSoonPart * live_interval_ms(), to_ms - from_ms + rest_ms);
  painted_news = news;
}

/** Paints with the others when asked for, until the returned function is called. */
export function paint_together(painter: Painter): () => void {
  painters.add(painter);
  blank.add(painter);
  stop ??= on_frame(frame);
  return () => {
    painters.delete(painter);
    blank.delete(painter);
    if (painters.size > 0) return;
    stop?.();
    stop = undefined;
  };
}
