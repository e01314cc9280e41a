/** The tape while nobody touches it: phases, the altitude's outline, ticks of time, the cursor. */
import type { Palette } from '../draw/palette';
import { draw_phases } from '../draw/phases';
import type { Surface } from '../draw/surface';
import { time_step_s } from '../draw/ticks';
import { estimate } from '../tape/estimates';
import type { Tape } from '../tape/tape';

const kTop_m = 20; // noise on the rail must not look like a flight
const kTick_px = 34; // at least between ticks

export function draw_silhouette(surface: Surface, colours: Palette, tape: Tape, vehicle: number): void {
  const context = surface.begin();
  const { width, height } = surface;
  const extent_s = tape.extent_s;
  const x = (t_s: number): number => (Math.min(Math.max(t_s, 0), extent_s) / extent_s) * width;
  context.fillStyle = colours.surface;
  context.fillRect(0, 0, width, height);
  draw_phases(context, colours, tape.log.phases(vehicle), x, tape.head_s, 0, height);

  const vertical = estimate(tape, vehicle, 'vertical');
  const column = vertical.ref('altitude_m')?.column;
  const overview = vertical.data?.overview;
  if (overview && column !== undefined) {
    let top_m = kTop_m;
    for (let b = 0; b < overview.used; b++) top_m = Math.max(top_m, overview.max(column, b) || 0);
    context.fillStyle = colours.profile;
    context.beginPath();
    context.moveTo(0, height);
    let last = 0;
    for (let b = 0; b < overview.used; b++) {
      const up_m = overview.max(column, b);
      if (Number.isNaN(up_m)) continue;
      last = x((b + 0.5) * overview.bin_s);
      context.lineTo(last, height - (Math.max(0, up_m) / top_m) * (height - 3));
    }
    context.lineTo(last, height);
    context.fill();
  }
  context.fillStyle = colours.muted;
  const step_s = time_step_s(extent_s, width / kTick_px);
  for (let t_s = step_s; t_s < extent_s; t_s += step_s) context.fillRect(Math.round(x(t_s)), height - 7, 1, 7);
  context.strokeStyle = colours.ink;
  context.lineWidth = 1.5;
  context.strokeRect(0.75, 0.75, width - 1.5, height - 1.5);
  context.fillStyle = colours.cursor;
  context.fillRect(Math.min(width - 3, x(tape.cursor_s) - 1.5), 0, 3, height);
}
