/**
 * Which pictures of the Web Mercator grid (OGC 17-083r4, WebMercatorQuad) lie under a view of the map, and where. Over the
 * few kilometres of a range the grid and the map's metres differ by less than a pixel once each picture has its corners.
 */
import type { GeoPoint } from '../stream/description';
import type { MapTiles } from '../stream/site_map';
import type { Place } from './landing';
import { from_pad, type View } from './map';
import { from_local } from './place';

export interface Tile {
  zoom: number;
  x: number;
  y: number;
  /** Its corners in metres from the pad. */
  north_west: Place;
  south_east: Place;
}

const kTile_px = 256;
const kAround_m = 40_075_016.686; // the equator of WGS 84, 2 pi 6378137 m
const kTilesMost = 48; // more than any screen needs at the zoom that fits it
const kRadian = Math.PI / 180;
const kFar_deg = 85; // where the grid ends is a matter for nobody's range

const x_of = (longitude_deg: number, side: number): number => ((longitude_deg + 180) / 360) * side;
const y_of = (latitude_deg: number, side: number): number =>
  (0.5 - Math.asinh(Math.tan(latitude_deg * kRadian)) / (2 * Math.PI)) * side;
const corner_of = (x: number, y: number, side: number): GeoPoint => ({
  latitude_deg: Math.atan(Math.sinh(Math.PI * (1 - (2 * y) / side))) / kRadian,
  longitude_deg: (x / side) * 360 - 180,
});

/** The zoom whose pictures are drawn no larger than twice and no smaller than they are, within what there is. */
export function zoom_for(tiles: MapTiles, m_per_px: number, latitude_deg: number): number {
  const wanted = Math.ceil(
    Math.log2((kAround_m * Math.cos(latitude_deg * kRadian)) / (kTile_px * Math.max(1e-6, m_per_px))) - 1,
  );
  return Math.min(tiles.zoom_most, Math.max(tiles.zoom_least, wanted));
}

/** Those under a view of `width` by `height` pixels; none where there would be far too many. */
export function tiles_of(pad: GeoPoint, view: View, width: number, height: number, tiles: MapTiles): Tile[] {
  if (!(Math.abs(pad.latitude_deg) < kFar_deg)) return [];
  const zoom = zoom_for(tiles, view.m_per_px, pad.latitude_deg);
  const side = 2 ** zoom;
  const [half_east_m, half_north_m] = [(width / 2) * view.m_per_px, (height / 2) * view.m_per_px];
  const corner = (east: -1 | 1, north: -1 | 1): GeoPoint =>
    from_local(pad, view.east_m + east * half_east_m, view.north_m + north * half_north_m);
  const [first, last] = [corner(-1, 1), corner(1, -1)];
  const [x_first, x_last] = [x_of(first.longitude_deg, side), x_of(last.longitude_deg, side)].map(Math.floor);
  const [y_first, y_last] = [y_of(first.latitude_deg, side), y_of(last.latitude_deg, side)].map(Math.floor);
  const found: Tile[] = [];
  if (x_first === undefined || x_last === undefined || y_first === undefined || y_last === undefined) return found;
  if ((x_last - x_first + 1) * (y_last - y_first + 1) > kTilesMost) return found;
  for (let y = Math.max(0, y_first); y <= Math.min(side - 1, y_last); y++) {
    for (let x = Math.max(0, x_first); x <= Math.min(side - 1, x_last); x++) {
      const [north_west, south_east] = [corner_of(x, y, side), corner_of(x + 1, y + 1, side)];
      found.push({ zoom, x, y, north_west: from_pad(pad, north_west), south_east: from_pad(pad, south_east) });
    }
  }
  return found;
}
