/** Draws the plan: boundary, pad, station, the way flown and where it may come down. North is up, metres are to scale. */
import { format_fixed } from '../text/format';
import { ellipse_points, type LandingCase, type LandingCaseName, type Place, type View } from '../tape/map';
import type { Palette } from './palette';
import type { Surface } from './surface';
import { nice_step } from './ticks';

export interface PlanScene {
  view: View;
  boundary: readonly Place[];
  station: Place | undefined;
  cases: readonly LandingCase[];
  vehicle: Place | undefined;
  landed: boolean;
  /** The way flown, oldest first. */
  track: readonly Place[];
}

/** Each case has its own line and its own mark in the middle, so that neither rests on colour. */
export const kCaseDash: Readonly<Record<LandingCaseName, readonly number[]>> = {
  nominal: [],
  first_shut: [7, 4],
  all_shut: [1.5, 3.5],
};

export function draw_case_mark(context: CanvasRenderingContext2D, name: LandingCaseName, x: number, y: number): void {
  context.beginPath();
  if (name === 'nominal') {
    context.arc(x, y, 3, 0, 2 * Math.PI);
  } else if (name === 'first_shut') {
    context.moveTo(x, y - 4);
    context.lineTo(x + 4, y + 3);
    context.lineTo(x - 4, y + 3);
    context.closePath();
  } else {
    context.moveTo(x - 3.5, y - 3.5);
    context.lineTo(x + 3.5, y + 3.5);
    context.moveTo(x + 3.5, y - 3.5);
    context.lineTo(x - 3.5, y + 3.5);
  }
  context.stroke();
}

export function case_colour(colours: Palette, name: LandingCaseName): string {
  return colours.series[{ nominal: 0, first_shut: 1, all_shut: 3 }[name]] ?? colours.ink;
}

export function draw_plan(surface: Surface, colours: Palette, scene: PlanScene): void {
  const context = surface.begin();
  const { width, height } = surface;
  const { view } = scene;
  const x = (east: number): number => width / 2 + (east - view.east) / view.m_per_px;
  const y = (north: number): number => height / 2 - (north - view.north) / view.m_per_px;
  const trace = (places: readonly Place[], close: boolean): void => {
    context.beginPath();
    places.forEach((place, i) =>
      i === 0 ? context.moveTo(x(place.east), y(place.north)) : context.lineTo(x(place.east), y(place.north)),
    );
    if (close) context.closePath();
  };
  context.lineJoin = 'round';
  context.lineCap = 'butt';
  draw_boundary(context, colours, scene.boundary, trace, width, height);

  context.strokeStyle = colours.muted;
  context.lineWidth = 1.5;
  trace(scene.track, false);
  context.stroke();

  for (const one of scene.cases.toReversed()) {
    context.strokeStyle = case_colour(colours, one.name);
    context.lineWidth = 2;
    context.setLineDash([...kCaseDash[one.name]]);
    trace(ellipse_points(one), true);
    context.stroke();
    context.setLineDash([]);
    draw_case_mark(context, one.name, x(one.east), y(one.north));
  }

  context.font = `11px ${colours.font}`;
  context.textBaseline = 'middle';
  context.textAlign = 'left';
  const label = (text: string, at_x: number, at_y: number): void => {
    context.lineWidth = 3;
    context.strokeStyle = colours.surface;
    context.strokeText(text, at_x, at_y);
    context.fillStyle = colours.ink;
    context.fillText(text, at_x, at_y);
  };
  context.strokeStyle = colours.ink;
  context.lineWidth = 1.5;
  context.beginPath();
  context.moveTo(x(0) - 5, y(0));
  context.lineTo(x(0) + 5, y(0));
  context.moveTo(x(0), y(0) - 5);
  context.lineTo(x(0), y(0) + 5);
  context.stroke();
  context.textAlign = 'center';
  label('pad', x(0), y(0) - 12);
  context.textAlign = 'left';
  if (scene.station) {
    const at = { x: x(scene.station.east), y: y(scene.station.north) };
    context.strokeStyle = colours.ink;
    context.lineWidth = 1.5;
    context.strokeRect(at.x - 3.5, at.y - 3.5, 7, 7);
    if (Math.hypot(at.x - x(0), at.y - y(0)) > 26) label('station', at.x + 7, at.y + 8);
  }
  if (scene.vehicle) draw_vehicle(context, colours, x(scene.vehicle.east), y(scene.vehicle.north), scene.landed);
  draw_scale(context, colours, view, width, height);
}

/** What is out is tinted, and the line has a pattern of its own: it cannot be taken for a track or an ellipse. */
function draw_boundary(
  context: CanvasRenderingContext2D,
  colours: Palette,
  boundary: readonly Place[],
  trace: (places: readonly Place[], close: boolean) => void,
  width: number,
  height: number,
): void {
  if (boundary.length < 3) return;
  trace(boundary, true);
  context.rect(-1, -1, width + 2, height + 2);
  context.fillStyle = colours.range;
  context.fill('evenodd');
  trace(boundary, true);
  context.strokeStyle = colours.caution;
  context.lineWidth = 1.5;
  context.setLineDash([10, 3, 2, 3]);
  context.stroke();
  context.setLineDash([]);
}

function draw_vehicle(
  context: CanvasRenderingContext2D,
  colours: Palette,
  x: number,
  y: number,
  landed: boolean,
): void {
  context.beginPath();
  context.arc(x, y, 5, 0, 2 * Math.PI);
  context.fillStyle = landed ? colours.surface : colours.cursor;
  context.fill();
  context.strokeStyle = landed ? colours.cursor : colours.surface;
  context.lineWidth = 2;
  context.stroke();
}

function draw_scale(
  context: CanvasRenderingContext2D,
  colours: Palette,
  view: View,
  width: number,
  height: number,
): void {
  const length_m = nice_step(view.m_per_px * width * 0.18, 1);
  const px = length_m / view.m_per_px;
  const right = width - 8;
  const bottom = height - 8;
  context.strokeStyle = colours.muted;
  context.lineWidth = 1.5;
  context.beginPath();
  context.moveTo(right - px, bottom - 5);
  context.lineTo(right - px, bottom);
  context.lineTo(right, bottom);
  context.lineTo(right, bottom - 5);
  context.stroke();
  context.fillStyle = colours.muted;
  context.textAlign = 'right';
  context.textBaseline = 'alphabetic';
  context.lineWidth = 3;
  context.strokeStyle = colours.surface;
  const text =
    length_m >= 1000
      ? `${format_fixed(length_m / 1000, length_m % 1000 === 0 ? 0 : 1)} km`
      : `${format_fixed(length_m, 0)} m`;
  context.strokeText(text, right - 4, bottom - 5);
  context.fillText(text, right - 4, bottom - 5);
  context.textAlign = 'center';
  context.strokeStyle = colours.muted;
  context.lineWidth = 1.5;
  context.beginPath();
  context.moveTo(width - 12, 32);
  context.lineTo(width - 12, 18);
  context.moveTo(width - 15.5, 22);
  context.lineTo(width - 12, 17);
  context.lineTo(width - 8.5, 22);
  context.stroke();
  context.fillText('N', width - 12, 13);
}
