/** What lies under the flight on the map: pictures of the ground, and what people drew beside the site file. */
import type { Place } from '../places/landing';
import type { MapShape } from '../stream/site_map';
import type { Palette } from './palette';

/** A picture and its corners. */
export interface GroundPicture {
  image: HTMLImageElement;
  north_west: Place;
  south_east: Place;
}

/** In metres from the pad. */
export interface GroundShape {
  kind: MapShape['kind'];
  name: string;
  parts: readonly (readonly Place[])[];
}

interface GroundPen {
  context: CanvasRenderingContext2D;
  colours: Palette;
  x(place: Place): number;
  y(place: Place): number;
}

const kPale = 0.5; // the flight is read over it
const kPoint_px = 3;
const kOverlap_px = 0.5; // else the ground shines through between two pictures

export function draw_pictures({ context, x, y }: GroundPen, pictures: readonly GroundPicture[]): void {
  context.globalAlpha = kPale;
  for (const { image, north_west, south_east } of pictures) {
    const [left, top] = [x(north_west), y(north_west)];
    const [width, height] = [x(south_east) - left, y(south_east) - top];
    context.drawImage(image, left, top, width + kOverlap_px, height + kOverlap_px);
  }
  context.globalAlpha = 1;
}

/** Thin and solid: dashes are the boundary's and the landings'. `label` writes a name. */
export function draw_shapes(
  { context, colours, x, y }: GroundPen,
  shapes: readonly GroundShape[],
  label: (text: string, x: number, y: number) => void,
): void {
  context.strokeStyle = colours.muted;
  context.lineWidth = 1.2;
  context.textAlign = 'left';
  context.textBaseline = 'middle';
  for (const { kind, name, parts } of shapes) {
    const first = parts[0]?.[0];
    if (!first) continue;
    context.beginPath();
    if (kind === 'point') {
      context.rect(x(first) - kPoint_px, y(first) - kPoint_px, 2 * kPoint_px, 2 * kPoint_px);
    } else {
      for (const part of parts)
        part.forEach((place, i) => (i === 0 ? context.moveTo(x(place), y(place)) : context.lineTo(x(place), y(place))));
    }
    context.fillStyle = colours.range;
    if (kind === 'area') context.fill('evenodd');
    context.stroke();
    if (name === '') continue;
    const [across, up] = kind === 'area' ? middle(parts[0] ?? [], x, y) : [x(first) + 6, y(first) - 2];
    context.textAlign = kind === 'area' ? 'center' : 'left';
    label(name, across, up);
  }
}

/** Of the box around an outline. */
function middle(places: readonly Place[], x: GroundPen['x'], y: GroundPen['y']): [number, number] {
  const half = (values: number[]): number => (Math.min(...values) + Math.max(...values)) / 2;
  return [half(places.map(x)), half(places.map(y))];
}
