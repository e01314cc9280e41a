/** The only requestAnimationFrame of the page. Drawers say themselves whether they have anything to do. */
import type { PageMs } from '../stream/clocks';

export type Drawer = (now_ms: PageMs) => void;

const drawers = new Set<Drawer>();
let running = false;

function frame(now_ms: PageMs): void {
  for (const draw of drawers) draw(now_ms);
  if (drawers.size > 0) requestAnimationFrame(frame);
  else running = false;
}

/** Runs `draw` every frame until the returned function is called. */
export function on_frame(draw: Drawer): () => void {
  drawers.add(draw);
  if (!running) {
    running = true;
    requestAnimationFrame(frame);
  }
  return () => drawers.delete(draw);
}

/** Time between live redraws: the eye reads 20 a second as motion, a phone's battery lasts longer on 10. */
export function live_interval_ms(): number {
  return window.innerWidth < 700 ? 100 : 50;
}
