/** Draws the map: boundary, pad, station, the way flown and where it may come down. North is up, metres are to scale. */
import type { PhaseSpan } from '../tape/events';
import type { LandingCase, Place } from '../places/landing';
import { ellipse_points, on_view, type View } from '../places/map';
import type { TrackPoint } from '../tape/flight/track';
import { format_fixed } from '../text/format';
import { place_labels, type Label } from './labels';
import { draw_pictures, draw_shapes, type GroundPicture, type GroundShape } from './map_ground';
import { draw_pennant, kCaseMarks } from './marks';
import { kChain, type Palette } from './palette';
import type { Surface } from './surface';
import { nice_step } from './ticks';

export interface MapScene {
  view: View;
  pictures: readonly GroundPicture[];
  /** Who has to be named for them. */
  attribution: string;
  shapes: readonly GroundShape[];
  boundary: readonly Place[];
  station: Place | undefined;
  /** Antennas of links that say where they stand. */
  receivers: readonly { title: string; place: Place }[];
  cases: readonly LandingCase[];
  vehicle: Place | undefined;
  /** Age of the vehicle's place in words where it is old: then its pennant is open. */
  old: string;
  /** The way flown, oldest first. */
  track: readonly TrackPoint[];
  phases: readonly PhaseSpan[];
  others: readonly { title: string; place: Place }[];
}

interface Pen {
  context: CanvasRenderingContext2D;
  colours: Palette;
  width: number;
  height: number;
  font: string;
  /** What is to be written at the end. */
  labels: Label[];
  x(place: Place): number;
  y(place: Place): number;
}

const kRings = 3; // about as many are in view
const kRingsMost = 12;
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
    font: `13px ${colours.font}`,
    labels: [],
    ...on_view(view, width, height),
  };
  context.lineJoin = 'round';
  context.lineCap = 'butt';
  context.font = pen.font;
  draw_pictures(pen, scene.pictures);
  draw_shapes(pen, scene.shapes, (text, x, y) => label(pen, text, x, y));
  draw_boundary(pen, scene.boundary);
  draw_rings(pen, view);
  for (const one of scene.cases.toReversed()) draw_case(pen, one);
  draw_track(pen, scene);
  draw_pad(pen);
  if (scene.station) draw_station(pen, 'station', scene.station);
  for (const { title, place } of scene.receivers) draw_station(pen, title, place);
  for (const other of scene.others) {
    draw_pennant(context, colours, false, pen.x(other.place), pen.y(other.place));
    beside(pen, other.title, other.place);
  }
  if (scene.vehicle) {
    draw_pennant(context, colours, scene.old === '', pen.x(scene.vehicle), pen.y(scene.vehicle));
    if (scene.old !== '') beside(pen, scene.old, scene.vehicle);
  }
  for (const one of scene.cases) draw_letter(pen, one, view.m_per_px);
  if (scene.pictures.length > 0) draw_attribution(pen, scene.attribution);
  draw_scale(pen, view);
  draw_north(pen);
  write_labels(pen);
}

function trace({ context, x, y }: Pen, places: readonly Place[], close: boolean): void {
  context.beginPath();
  places.forEach((place, i) => (i === 0 ? context.moveTo(x(place), y(place)) : context.lineTo(x(place), y(place))));
  if (close) context.closePath();
}

function label({ context, labels }: Pen, text: string, x: number, y: number): void {
  const { textAlign: align, textBaseline: baseline, font } = context;
  labels.push({ text, x, y, align, baseline, font });
}

function write_labels({ context, colours, labels, width }: Pen): void {
  context.lineWidth = 4;
  context.strokeStyle = colours.surface;
  context.fillStyle = colours.ink;
  const width_of = ({ text, font }: Label): number => {
    context.font = font;
    return context.measureText(text).width;
  };
  for (const { text, x, y, align, baseline, font } of place_labels(labels, width, width_of)) {
    context.textAlign = align;
    context.textBaseline = baseline;
    context.font = font;
    context.strokeText(text, x, y);
    context.fillText(text, x, y);
  }
}

/** Circles about the pad, dotted, each by its radius where it leaves the pad to the north. */
function draw_rings(pen: Pen, view: View): void {
  const { context, colours, width, height, x, y } = pen;
  const step_m = nice_step(view.m_per_px * Math.min(width, height), kRings);
  const farthest_m = Math.hypot(width, height) * view.m_per_px + Math.hypot(view.east_m, view.north_m);
  context.strokeStyle = colours.edge;
  context.lineWidth = 1;
  context.setLineDash([1, 4]);
  for (let radius_m = step_m, k = 0; radius_m < farthest_m && k < kRingsMost; radius_m += step_m, k++) {
    context.beginPath();
    context.arc(x(kPad), y(kPad), radius_m / view.m_per_px, 0, 2 * Math.PI);
    context.stroke();
  }
  context.setLineDash([]);
  context.textAlign = 'center';
  context.textBaseline = 'middle';
  const [at_x, at_y] = [x(kPad), y(kPad) - step_m / view.m_per_px];
  if (at_x > 20 && at_x < width - 44 && at_y > 8) label(pen, format_fixed(step_m, 0), at_x, at_y);
}

/** On the tints of its phases, so that where thrust ended or the drogue opened is seen on the ground. */
function draw_track(pen: Pen, { track, phases, vehicle }: MapScene): void {
  const { context, colours, x, y } = pen;
  context.lineWidth = 7;
  for (const phase of phases) {
    const part = track.filter((point) => point.t_s >= phase.from_s && point.t_s <= phase.to_s);
    const tint = colours.tints.get(phase.phase);
    if (part.length < 2 || tint === undefined) continue;
    context.strokeStyle = tint;
    trace(pen, part, false);
    context.stroke();
  }
  context.strokeStyle = colours.series[0] ?? colours.ink;
  context.lineWidth = 1.75;
  trace(pen, track, false);
  if (vehicle && track.length > 0) context.lineTo(x(vehicle), y(vehicle));
  context.stroke();
}

/** Words beside a pennant, on the side where there is room. */
function beside(pen: Pen, text: string, place: Place): void {
  const { context, width, x, y } = pen;
  const right = x(place) + 16 + context.measureText(text).width < width;
  context.textAlign = right ? 'left' : 'right';
  context.textBaseline = 'middle';
  context.font = pen.font.replace(/^/, 'bold ');
  label(pen, text, x(place) + (right ? 13 : -4), y(place) - 8);
  context.font = pen.font;
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
  context.font = `bold 14px ${colours.font}`;
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

function draw_station(pen: Pen, title: string, station: Place): void {
  const { context, colours, width, height, x, y } = pen;
  if (x(station) < 0 || x(station) > width || y(station) < 0 || y(station) > height) return;
  context.strokeStyle = colours.ink;
  context.lineWidth = 1.5;
  context.strokeRect(x(station) - 3.5, y(station) - 3.5, 7, 7);
  if (Math.hypot(x(station) - x(kPad), y(station) - y(kPad)) < 26) return;
  context.textAlign = 'left';
  context.textBaseline = 'middle';
  label(pen, title, x(station) + 7, Math.min(y(station) + 8, height - 6));
}

function draw_attribution(pen: Pen, attribution: string): void {
  pen.context.textAlign = 'left';
  pen.context.textBaseline = 'alphabetic';
  label(pen, attribution, 6, pen.height - 6);
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
  const x = width - 24;
  context.textAlign = 'center';
  context.textBaseline = 'alphabetic';
  label(pen, 'north', x, 16);
  label(pen, '', x, 40); // keeps others off the arrow
  context.strokeStyle = colours.ink;
  context.lineWidth = 1.5;
  context.beginPath();
  context.moveTo(x, 42);
  context.lineTo(x, 23);
  context.moveTo(x - 3.5, 28);
  context.lineTo(x, 22);
  context.lineTo(x + 3.5, 28);
  context.stroke();
}
