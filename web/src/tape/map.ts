/** Plan of the site: places in metres east and north of the pad, and what of a tape belongs on it at the cursor. */
import type { Description, GeoPoint } from '../stream/messages';
import type { Tape } from './tape';

export interface Place {
  east: number;
  north: number;
}

export type LandingCaseName = 'nominal' | 'first_shut' | 'all_shut';

/** A predicted landing with its 95 % ellipse. */
export interface LandingCase extends Place {
  name: LandingCaseName;
  semi_major: number;
  semi_minor: number;
  /** Of the longer axis, degrees clockwise from true north. */
  bearing_deg: number;
  /** Share outside the boundary; NaN without one. */
  outside: number;
}

export interface Extent {
  east_min: number;
  east_max: number;
  north_min: number;
  north_max: number;
}

/** What the plan shows: metres at its middle and metres for a pixel. */
export interface View extends Place {
  m_per_px: number;
}

const kRadian = Math.PI / 180;
const kMajor_m = 6378137; // WGS 84 (NIMA TR8350.2, 3rd edition, tables 3.1 and 3.3)
const kEccentricity2 = 6.69437999014e-3;
const kMargin = 1.25;
const kLeastSpan_m = 120;
export const kCases: readonly LandingCaseName[] = ['nominal', 'first_shut', 'all_shut'];

/** By the ellipsoid's radii of curvature at the pad; within 10 km the error is far below a pixel. */
export function from_pad(pad: GeoPoint, point: GeoPoint): Place {
  const latitude = pad.latitude_deg * kRadian;
  const root2 = 1 - kEccentricity2 * Math.sin(latitude) ** 2;
  const across_m = kMajor_m / Math.sqrt(root2);
  const along_m = (across_m * (1 - kEccentricity2)) / root2;
  const turned = ((((point.longitude_deg - pad.longitude_deg + 180) % 360) + 360) % 360) - 180;
  return {
    east: turned * kRadian * across_m * Math.cos(latitude),
    north: (point.latitude_deg - pad.latitude_deg) * kRadian * along_m,
  };
}

/** Points of an ellipse, closed, `count` of them. */
export function ellipse_points(
  shape: Pick<LandingCase, 'east' | 'north' | 'semi_major' | 'semi_minor' | 'bearing_deg'>,
  count = 48,
): Place[] {
  const sine = Math.sin(shape.bearing_deg * kRadian);
  const cosine = Math.cos(shape.bearing_deg * kRadian);
  return Array.from({ length: count }, (_, i) => {
    const along = shape.semi_major * Math.cos((2 * Math.PI * i) / count);
    const across = shape.semi_minor * Math.sin((2 * Math.PI * i) / count);
    return { east: shape.east + along * sine + across * cosine, north: shape.north + along * cosine - across * sine };
  });
}

export function extent_of(places: readonly Place[]): Extent {
  const extent: Extent = { east_min: Infinity, east_max: -Infinity, north_min: Infinity, north_max: -Infinity };
  for (const { east, north } of places) {
    if (!Number.isFinite(east) || !Number.isFinite(north)) continue;
    extent.east_min = Math.min(extent.east_min, east);
    extent.east_max = Math.max(extent.east_max, east);
    extent.north_min = Math.min(extent.north_min, north);
    extent.north_max = Math.max(extent.north_max, north);
  }
  return extent;
}

/**
 * A view of everything in `extent`. The one before is kept while it holds everything at no less than half the size it
 * could have: a plan that breathes with every prediction cannot be read.
 */
export function fit(extent: Extent, width: number, height: number, before: View | undefined): View {
  if (!(extent.east_max >= extent.east_min)) return before ?? { east: 0, north: 0, m_per_px: 1 };
  const across = Math.max(kLeastSpan_m, extent.east_max - extent.east_min) * kMargin;
  const along = Math.max(kLeastSpan_m, extent.north_max - extent.north_min) * kMargin;
  const m_per_px = Math.max(across / Math.max(1, width), along / Math.max(1, height));
  if (before && before.m_per_px <= 2 * m_per_px) {
    const half_width = (before.m_per_px * width) / 2 - 4 * before.m_per_px;
    const half_height = (before.m_per_px * height) / 2 - 4 * before.m_per_px;
    const holds =
      extent.east_min >= before.east - half_width &&
      extent.east_max <= before.east + half_width &&
      extent.north_min >= before.north - half_height &&
      extent.north_max <= before.north + half_height;
    if (holds) return before;
  }
  return { east: (extent.east_min + extent.east_max) / 2, north: (extent.north_min + extent.north_max) / 2, m_per_px };
}

function estimate(description: Description, vehicle: number, name: string) {
  return description.tables.find((table) => table.vehicle === vehicle && table.name.endsWith(`/estimate/${name}`));
}

/** The predicted landings at the cursor; cases that are ruled out by now are absent. */
export function landing_cases(tape: Tape, vehicle: number): LandingCase[] {
  const table = estimate(tape.description, vehicle, 'landing');
  if (!table) return [];
  const get = (name: string): number => {
    const column = table.columns.findIndex((c) => c.name === name);
    return column < 0 ? NaN : tape.value_at_cursor(table.id, column).value;
  };
  return kCases
    .map((name) => ({
      name,
      east: get(`${name}_east_m`),
      north: get(`${name}_north_m`),
      semi_major: get(`${name}_semi_major_m`),
      semi_minor: get(`${name}_semi_minor_m`),
      bearing_deg: get(`${name}_bearing_deg`),
      outside: get(`${name}_outside`),
    }))
    .filter((one) => Number.isFinite(one.east) && Number.isFinite(one.semi_major));
}

/** Where the vehicle is at the cursor by navigation; undefined when that is not known. */
export function vehicle_place(tape: Tape, vehicle: number): Place | undefined {
  const table = estimate(tape.description, vehicle, 'navigation');
  const east = table?.columns.findIndex((c) => c.name === 'east_m') ?? -1;
  const north = table?.columns.findIndex((c) => c.name === 'north_m') ?? -1;
  if (!table || east < 0 || north < 0) return undefined;
  const place = {
    east: tape.value_at_cursor(table.id, east).value,
    north: tape.value_at_cursor(table.id, north).value,
  };
  return Number.isFinite(place.east) && Number.isFinite(place.north) ? place : undefined;
}

/** Calls for the places flown over from `from_s` to the cursor, oldest first, as coarse as the tape's overview. */
export function walk_track(
  tape: Tape,
  vehicle: number,
  from_s: number,
  point: (east: number, north: number) => void,
): void {
  const table = estimate(tape.description, vehicle, 'navigation');
  const data = table && tape.tables[table.id];
  const east = table?.columns.findIndex((c) => c.name === 'east_m') ?? -1;
  const north = table?.columns.findIndex((c) => c.name === 'north_m') ?? -1;
  if (!data || east < 0 || north < 0) return;
  const { overview } = data;
  const last = Math.min(overview.used - 1, Math.floor(tape.cursor_s / overview.bin_s) - 1);
  for (let bin = Math.max(0, Math.floor(from_s / overview.bin_s)); bin <= last; bin++) {
    const e = (overview.min(east, bin) + overview.max(east, bin)) / 2;
    const n = (overview.min(north, bin) + overview.max(north, bin)) / 2;
    if (Number.isFinite(e) && Number.isFinite(n)) point(e, n);
  }
}
