/** Draws the flight from the side: height over distance from the pad along the ground. */
import type { PhaseSpan } from '../tape/events';
import type { TrackPoint } from '../tape/flight/track';
import { format_fixed } from '../text/format';
import type { Palette } from './palette';
import { line, write, type Pen } from './pen';
import { nice_step } from './ticks';

export interface ProfileScene {
  track: readonly TrackPoint[];
  phases: readonly PhaseSpan[];
  /** Where it is predicted to come down, metres from the pad; NaN when not known. */
  landing_m: number;
}

const kLeft_px = 44;
const kBottom_px = 22;
const kTop_px = 12;
const kRight_px = 12;
const kLeast_m = 100;

/** Both axes have one scale, so that steep looks steep. */
export function draw_profile(pen: Pen, colours: Palette, width: number, height: number, scene: ProfileScene): void {
  const points = scene.track.filter((point) => Number.isFinite(point.up_m));
  const away = (point: TrackPoint): number => Math.hypot(point.east_m, point.north_m);
  const far_m = Math.max(kLeast_m, ...points.map(away), Number.isFinite(scene.landing_m) ? scene.landing_m : 0) * 1.05;
  const high_m = Math.max(kLeast_m, ...points.map((point) => point.up_m)) * 1.05;
  const [room_x, room_y] = [width - kLeft_px - kRight_px, height - kTop_px - kBottom_px];
  const px_per_m = Math.min(room_x / far_m, room_y / high_m);
  const x = (metres: number): number => kLeft_px + metres * px_per_m;
  const y = (metres: number): number => height - kBottom_px - metres * px_per_m;
  const step_m = nice_step(Math.max(far_m, high_m), 4);
  pen.font = `13px ${colours.font}`;
  pen.textBaseline = 'middle';
  pen.lineWidth = 1;
  for (let m = 0; y(m) >= kTop_px - 4; m += step_m) {
    pen.strokeStyle = colours.rule;
    pen.lineWidth = 1;
    line(pen, kLeft_px, Math.round(y(m)) + 0.5, width - kRight_px, Math.round(y(m)) + 0.5);
    pen.textAlign = 'right';
    write(pen, format_fixed(m, 0), kLeft_px - 5, y(m), colours.ink, colours.surface);
  }
  pen.textAlign = 'center';
  for (let m = 0; x(m) <= width - kRight_px + 1; m += step_m)
    write(pen, format_fixed(m, 0), x(m), height - 9, colours.muted, colours.surface);
  pen.strokeStyle = colours.ink;
  pen.lineWidth = 1.5;
  line(pen, kLeft_px, Math.round(y(0)) + 0.5, width - kRight_px, Math.round(y(0)) + 0.5);
  const trace = (part: readonly TrackPoint[]): void => {
    pen.beginPath();
    part.forEach((point, i) =>
      i === 0 ? pen.moveTo(x(away(point)), y(point.up_m)) : pen.lineTo(x(away(point)), y(point.up_m)),
    );
    pen.stroke();
  };
  pen.lineWidth = 7;
  pen.lineJoin = 'round';
  for (const phase of scene.phases) {
    const tint = colours.tints.get(phase.phase);
    if (tint === undefined) continue;
    pen.strokeStyle = tint;
    trace(points.filter((point) => point.t_s >= phase.from_s && point.t_s <= phase.to_s));
  }
  pen.strokeStyle = colours.series[0] ?? colours.ink;
  pen.lineWidth = 1.75;
  trace(points);
  const last = points.at(-1);
  if (!last || !Number.isFinite(scene.landing_m)) return;
  pen.strokeStyle = colours.ink;
  pen.lineWidth = 2;
  pen.setLineDash([2, 4.5]);
  line(pen, x(away(last)), y(last.up_m), x(scene.landing_m), y(0));
  pen.setLineDash([]);
}
