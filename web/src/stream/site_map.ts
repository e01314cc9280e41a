/** What people put beside the site file for the map: GET /api/map of protocol/STREAM.md. */
import { json } from './api';
import type { GeoPoint } from './description';
import { array, fail, number, object, one_of, text } from './json';

export interface MapShape {
  kind: 'point' | 'line' | 'area';
  /** Empty: none. */
  name: string;
  /** Of an area its outline, then its holes. */
  parts: readonly (readonly GeoPoint[])[];
}

export interface MapOverlay {
  title: string;
  shapes: readonly MapShape[];
}

export interface MapTiles {
  zoom_least: number;
  zoom_most: number;
  /** Who has to be named beside the map; may be empty. */
  attribution: string;
}

export interface SiteMap {
  overlays: readonly MapOverlay[];
  tiles: MapTiles | undefined;
  /** A sentence for each file that was left out. */
  problems: readonly string[];
}

export const kNoSiteMap: SiteMap = { overlays: [], tiles: undefined, problems: [] };

const kKinds = ['point', 'line', 'area'] as const;

function read_point(value: unknown, path: string): GeoPoint {
  const [latitude_deg, longitude_deg] = Array.isArray(value) ? (value as unknown[]) : [];
  if (typeof latitude_deg !== 'number' || typeof longitude_deg !== 'number')
    fail(path, 'latitude and longitude', value);
  return { latitude_deg: latitude_deg as number, longitude_deg: longitude_deg as number };
}

function read_shape(value: unknown, path: string): MapShape {
  const from = object(value, path);
  return {
    kind: one_of(from, 'kind', path, kKinds),
    name: text(from, 'name', path, ''),
    parts: array(from['parts'], `${path}/parts`).map((part, i) =>
      array(part, `${path}/parts/${i}`).map((point, k) => read_point(point, `${path}/parts/${i}/${k}`)),
    ),
  };
}

export function read_site_map(value: unknown): SiteMap {
  const from = object(value, 'map');
  const tiles = from['tiles'] === null ? undefined : object(from['tiles'], 'map/tiles');
  return {
    overlays: array(from['overlays'], 'map/overlays').map((entry, i) => {
      const at = `map/overlays/${i}`;
      const overlay = object(entry, at);
      const shapes = array(overlay['shapes'], `${at}/shapes`);
      return {
        title: text(overlay, 'title', at, ''),
        shapes: shapes.map((shape, k) => read_shape(shape, `${at}/shapes/${k}`)),
      };
    }),
    tiles: tiles && {
      zoom_least: number(tiles, 'zoom_least', 'map/tiles'),
      zoom_most: number(tiles, 'zoom_most', 'map/tiles'),
      attribution: text(tiles, 'attribution', 'map/tiles', ''),
    },
    problems: array(from['problems'], 'map/problems').map(String),
  };
}

export const fetch_site_map = async (): Promise<SiteMap> => read_site_map(await json('/api/map'));

export const tile_address = (zoom: number, x: number, y: number): string => `/api/map/tiles/${zoom}/${x}/${y}`;
