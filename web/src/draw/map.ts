/** Draws the map: boundary, pad, station, the way flown and where it may come down. North is up, metres are to scale. */
import { ellipse_points, type LandingCase, type Place, type View } from '../tape/map';
import { format_fixed } from '../text/format';
import { draw_pennant, kCaseMarks } from './marks';
import { kChain, type Palette } from './palette';
import type { Surface } from './surface';
import { nice_step } from './ticks';

export interface MapScene {
  view: View;
  boundary: readonly Place[];
  station: Place | undefined;
  cases: readonly LandingCase[];
  vehicle: Place | undefined;
  /** The vehicle's place is older than it should be. */
  old: boolean;
  /** The way flown, oldest first. */
  track: readonly Place[];
}

interface Pen {
  context: CanvasRenderingContext2D;
  colours: Palette;
  width: number;
  height: number;
  font: string;
  x(place: Place): number;
  y(place: Place): number;
}

const kPad: Place = { east_m: 0, north_m: 0 };
/** Where on its outline a case carries its letter, east and north: apart for ellipses that lie on one another. */
const kLetterSide = {
  nominal: [1, 1],
  late_opening: [0, 1],
  drogue_fails: [-1, 1],
  main_fails: [1, 0],
  main_at_apogee: [1, -1],
  no_parachute: [-1, -1],
} as const;
const kSmall_px = 14; // an outline this small carries its letter beside it

export function draw_map(surface: Surface, colours: Palette, scene: MapScene): void {
  const context = surface.begin();
  const { width, height } = surface;
  const { view } = scene;
  const pen: Pen = {
    context,
    colours,
    width,
    height,
    font: `11px ${colours.font}`,
    x: (place) => width / 2 + (place.east_m - view.east_m) / view.m_per_px,
    y: (place) => height / 2 - (place.north_m - view.north_m) / view.m_per_px,
  };
  context.lineJoin = 'round';
  context.lineCap = 'butt';
  context.font = pen.font;
  draw_boundary(pen, scene.boundary);
  draw_scale(pen, view);
  draw_north(pen);
  for (const one of scene.cases.toReversed()) draw_case(pen, one);
  context.strokeStyle = colours.series[0] ?? colours.ink;
  context.lineWidth = 1.75;
  trace(pen, scene.track, false);
  context.stroke();
  draw_pad(pen);
  if (scene.station) draw_station(pen, scene.station);
  if (scene.vehicle) draw_pennant(context, colours, !scene.old, pen.x(scene.vehicle), pen.y(scene.vehicle));
  for (const one of scene.cases) draw_letter(pen, one, view.m_per_px);
}

function trace({ context, x, y }: Pen, places: readonly Place[], close: boolean): void {
  context.beginPath();
  places.forEach((place, i) => (i === 0 ? context.moveTo(x(place), y(place)) : context.lineTo(x(place), y(place))));
  if (close) context.closePath();
}

function label({ context, colours }: Pen, text: string, x: number, y: number): void {
  context.lineJoin = 'round';
  context.lineWidth = 4;
  context.strokeStyle = colours.surface;
  context.strokeText(text, x, y);
  context.fillStyle = colours.ink;
  context.fillText(text, x, y);
}

/** What is out is tinted, and the line has a pattern of its own: it cannot be taken for a track or an ellipse. */
function draw_boundary(pen: Pen, boundary: readonly Place[]): void {
  if (boundary.length < 3) return;
  const { context, colours, width, height } = pen;
  trace(pen, boundary, true);
  context.rect(-1, -1, width + 2, height + 2);
  context.fillStyle = colours.range;
  context.fill('evenodd');
  trace(pen, boundary, true);
  context.strokeStyle = colours.limit;
  context.lineWidth = 1.5;
  context.setLineDash([...kChain]);
  context.stroke();
  context.setLineDash([]);
}

/** The likeliest case is the one filled. */
function draw_case(pen: Pen, one: LandingCase): void {
  const { context, colours } = pen;
  trace(pen, ellipse_points(one), true);
  if (one.likeliest) {
    context.fillStyle = colours.bands[0] ?? colours.window;
    context.fill();
  }
  context.strokeStyle = colours.ink;
  context.lineWidth = 2;
  context.setLineDash([...kCaseMarks[one.name].dash]);
  context.stroke();
  context.setLineDash([]);
}

function draw_letter(pen: Pen, one: LandingCase, m_per_px: number): void {
  const { context, colours, x, y } = pen;
  const [east, north] = kLetterSide[one.name];
  const reach = (place: Place): number => (place.east_m - one.east_m) * east + (place.north_m - one.north_m) * north;
  const outline = ellipse_points(one);
  const corner = outline.reduce((best, place) => (reach(place) > reach(best) ? place : best), one as Place);
  const away = one.semi_minor_m / m_per_px < kSmall_px ? 8 : 0;
  context.textAlign = 'center';
  context.textBaseline = 'middle';
  context.font = `bold 13px ${colours.font}`;
  label(pen, kCaseMarks[one.name].letter, x(corner) + away * east, y(corner) - away * north);
  context.font = pen.font;
}

function draw_pad(pen: Pen): void {
  const { context, colours, x, y } = pen;
  context.strokeStyle = colours.ink;
  context.lineWidth = 1.5;
  context.beginPath();
  context.moveTo(x(kPad) - 5, y(kPad));
  context.lineTo(x(kPad) + 5, y(kPad));
  context.moveTo(x(kPad), y(kPad) - 5);
  context.lineTo(x(kPad), y(kPad) + 5);
  context.stroke();
  context.textAlign = 'center';
  context.textBaseline = 'middle';
  label(pen, 'pad', x(kPad), y(kPad) + 13);
}

function draw_station(pen: Pen, station: Place): void {
  const { context, colours, width, height, x, y } = pen;
  if (x(station) < 0 || x(station) > width || y(station) < 0 || y(station) > height) return;
  context.strokeStyle = colours.ink;
  context.lineWidth = 1.5;
  context.strokeRect(x(station) - 3.5, y(station) - 3.5, 7, 7);
  if (Math.hypot(x(station) - x(kPad), y(station) - y(kPad)) < 26) return;
  context.textAlign = 'left';
  context.textBaseline = 'middle';
  label(pen, 'station', x(station) + 7, Math.min(y(station) + 8, height - 6));
}

function draw_scale(pen: Pen, view: View): void {
  const { context, colours, width, height } = pen;
  const length_m = nice_step(view.m_per_px * width * 0.18, 1);
  const px = length_m / view.m_per_px;
  const right = width - 8;
  const bottom = height - 8;
  context.strokeStyle = colours.ink;
  context.lineWidth = 1.5;
  context.beginPath();
  context.moveTo(right - px, bottom - 5);
  context.lineTo(right - px, bottom);
  context.lineTo(right, bottom);
  context.lineTo(right, bottom - 5);
  context.stroke();
  context.textAlign = 'right';
  context.textBaseline = 'alphabetic';
  const km = length_m / 1000;
  label(
    pen,
    km >= 1 ? `${format_fixed(km, Number.isInteger(km) ? 0 : 1)} km` : `${format_fixed(length_m, 0)} m`,
    right - 4,
    bottom - 5,
  );
}

/** Said in a word, since N is the nominal case. */
function draw_north(pen: Pen): void {
  const { context, colours, width } = pen;
  const x = width - 18;
  context.textAlign = 'center';
  context.textBaseline = 'alphabetic';
  label(pen, 'north', x, 13);
  context.strokeStyle = colours.ink;
  context.lineWidth = 1.5;
  context.beginPath();
  context.moveTo(x, 33);
  context.lineTo(x, 19);
  context.moveTo(x - 3.5, 23);
  context.lineTo(x, 18);
  context.lineTo(x + 3.5, 23);
  context.stroke();
}
