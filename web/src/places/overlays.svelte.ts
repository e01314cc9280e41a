/** What people drew beside the site file, as every map but the crew's shows it: fetched once, when a map first asks. */
import type { GeoPoint } from '../stream/description';
import { fetch_site_map, type MapShape } from '../stream/site_map';
import { from_pad } from './map';
import type { Place } from './landing';

/** More would be drawn slowly on a phone: the newest shapes give way. */
const kPointsMost = 20_000;

class Overlays {
  shapes: readonly MapShape[] = $state.raw([]);
  private asked = false;

  ask(): void {
    if (this.asked) return;
    this.asked = true;
    void fetch_site_map().then(
      ({ overlays }) => {
        let points = 0;
        this.shapes = overlays
          .flatMap(({ shapes }) => shapes)
          .filter(({ parts }) => (points += parts.reduce((sum, part) => sum + part.length, 0)) <= kPointsMost);
      },
      () => (this.asked = false), // out of range, or an older station: the next map asks again
    );
  }
}
export const overlays = new Overlays();

/** In metres, y to the south, for a drawing that is scaled as a whole. */
export interface OverlayPath {
  area: boolean;
  /** Empty of a point. */
  path: string;
  name: string;
  /** Where the name stands: at its beginning, or in the middle of an area. */
  at: Place;
}

export function overlay_paths(shapes: readonly MapShape[], origin: GeoPoint): OverlayPath[] {
  return shapes.flatMap(({ kind, name, parts }) => {
    const local = parts.map((part) => part.map((point) => from_pad(origin, point)));
    const [first = []] = local;
    const [start] = first;
    if (!start) return [];
    const line = (part: readonly Place[]): string =>
      part
        .map(({ east_m, north_m }, i) => `${i === 0 ? 'M' : 'L'}${east_m.toFixed(1)} ${(-north_m).toFixed(1)}`)
        .join('');
    const path = kind === 'point' ? '' : local.map((part) => line(part) + (kind === 'area' ? 'Z' : '')).join('');
    return [{ area: kind === 'area', path, name, at: kind === 'area' ? middle(first) : start }];
  });
}

/** Of the box around an outline. */
function middle(places: readonly Place[]): Place {
  const half = (values: readonly number[]): number =>
    (values.reduce((a, b) => Math.min(a, b)) + values.reduce((a, b) => Math.max(a, b))) / 2;
  return { east_m: half(places.map(({ east_m }) => east_m)), north_m: half(places.map(({ north_m }) => north_m)) };
}
