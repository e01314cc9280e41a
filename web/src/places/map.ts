/** Map of the site: places in metres east and north of the pad, and what of a tape belongs on it at the cursor. */
import type { TapeSeconds } from '../stream/clocks';
import type { GeoPoint } from '../stream/description';
import { estimate } from '../tape/estimates';
import type { LandingCase, Place } from './landing';
import type { Tape } from '../tape/tape';

export interface Extent {
  east_min_m: number;
  east_max_m: number;
  north_min_m: number;
  north_max_m: number;
}

/** What the map shows: metres at its middle and metres for a pixel. */
export interface View extends Place {
  m_per_px: number;
}
type Pixels = (place: Place) => number;
interface OnView {
  x: Pixels;
  y: Pixels;
}

const kRadian = Math.PI / 180;
const kMajor_m = 6378137; // WGS 84 (NIMA TR8350.2, 3rd edition, tables 3.1 and 3.3)
const kEccentricity2 = 6.69437999014e-3;
const kMargin = 1.25;
const kLeastSpan_m = 120;

/** By the ellipsoid's radii of curvature at the pad; within 10 km the error is far below a pixel. */
export function from_pad(pad: GeoPoint, point: GeoPoint): Place {
  const latitude = pad.latitude_deg * kRadian;
  const root2 = 1 - kEccentricity2 * Math.sin(latitude) ** 2;
  const across_m = kMajor_m / Math.sqrt(root2);
  const along_m = (across_m * (1 - kEccentricity2)) / root2;
  const turned = ((((point.longitude_deg - pad.longitude_deg + 180) % 360) + 360) % 360) - 180;
  return {
    east_m: turned * kRadian * across_m * Math.cos(latitude),
    north_m: (point.latitude_deg - pad.latitude_deg) * kRadian * along_m,
  };
}

/** Points of an ellipse, closed, `count` of them. */
export function ellipse_points(
  shape: Pick<LandingCase, 'east_m' | 'north_m' | 'semi_major_m' | 'semi_minor_m' | 'bearing_deg'>,
  count = 48,
): Place[] {
  const sine = Math.sin(shape.bearing_deg * kRadian);
  const cosine = Math.cos(shape.bearing_deg * kRadian);
  return Array.from({ length: count }, (_, i) => {
    const along = shape.semi_major_m * Math.cos((2 * Math.PI * i) / count);
    const across = shape.semi_minor_m * Math.sin((2 * Math.PI * i) / count);
    return {
      east_m: shape.east_m + along * sine + across * cosine,
      north_m: shape.north_m + along * cosine - across * sine,
    };
  });
}

export function extent_of(places: readonly Place[]): Extent {
  const extent: Extent = { east_min_m: Infinity, east_max_m: -Infinity, north_min_m: Infinity, north_max_m: -Infinity };
  for (const { east_m, north_m } of places) {
    if (!Number.isFinite(east_m) || !Number.isFinite(north_m)) continue;
    extent.east_min_m = Math.min(extent.east_min_m, east_m);
    extent.east_max_m = Math.max(extent.east_max_m, east_m);
    extent.north_min_m = Math.min(extent.north_min_m, north_m);
    extent.north_max_m = Math.max(extent.north_max_m, north_m);
  }
  return extent;
}

/** Where a place stands on a drawing of this size, in pixels. */
export const on_view = ({ east_m, north_m, m_per_px }: View, width: number, height: number): OnView => ({
  x: (place) => width / 2 + (place.east_m - east_m) / m_per_px,
  y: (place) => height / 2 - (place.north_m - north_m) / m_per_px,
});

/**
 * A view of everything in `extent`. The one before is kept while it holds everything at no less than half the size it
 * could have: a map that breathes with every prediction cannot be read.
 */
export function fit(extent: Extent, width: number, height: number, before: View | undefined): View {
  if (!(extent.east_max_m >= extent.east_min_m)) return before ?? { east_m: 0, north_m: 0, m_per_px: 1 };
  const across = Math.max(kLeastSpan_m, extent.east_max_m - extent.east_min_m) * kMargin;
  const along = Math.max(kLeastSpan_m, extent.north_max_m - extent.north_min_m) * kMargin;
  const m_per_px = Math.max(across / Math.max(1, width), along / Math.max(1, height));
  if (before && before.m_per_px <= 2 * m_per_px) {
    const half_width = (before.m_per_px * width) / 2 - 4 * before.m_per_px;
    const half_height = (before.m_per_px * height) / 2 - 4 * before.m_per_px;
    const holds =
      extent.east_min_m >= before.east_m - half_width &&
      extent.east_max_m <= before.east_m + half_width &&
      extent.north_min_m >= before.north_m - half_height &&
      extent.north_max_m <= before.north_m + half_height;
    if (holds) return before;
  }
  return {
    east_m: (extent.east_min_m + extent.east_max_m) / 2,
    north_m: (extent.north_min_m + extent.north_max_m) / 2,
    m_per_px,
  };
}

/** Calls for the places flown over from `from_s` to the cursor, oldest first, as coarse as the tape's overview. */
export function walk_track(
  tape: Tape,
  vehicle: number,
  from_s: TapeSeconds,
  point: (east_m: number, north_m: number, up_m: number, t_s: TapeSeconds) => void,
): void {
  const navigation = estimate(tape, vehicle, 'navigation');
  const overview = navigation.data?.overview;
  const [east, north, up] = (['east_m', 'north_m', 'up_m'] as const).map((name) => navigation.ref(name)?.column);
  if (!overview || east === undefined || north === undefined) return;
  const middle = (column: number, bin: number): number => (overview.min(column, bin) + overview.max(column, bin)) / 2;
  const last = Math.min(overview.used - 1, Math.floor(tape.cursor_s / overview.bin_s) - 1);
  for (let bin = Math.max(0, Math.floor(from_s / overview.bin_s)); bin <= last; bin++) {
    const [east_m, north_m] = [middle(east, bin), middle(north, bin)];
    if (!Number.isFinite(east_m) || !Number.isFinite(north_m)) continue;
    point(east_m, north_m, up === undefined ? NaN : middle(up, bin), (bin + 0.5) * overview.bin_s);
  }
}
