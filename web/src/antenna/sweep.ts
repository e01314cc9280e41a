/** After loss of signal: the part of the horizon to sweep for it, which is where the vehicle is likely to come down. */
import type { GeoPoint } from '../stream/description';
import { course, is_place, magnetic_deg, turn_deg, turned_deg } from '../places/geodesic';
import { from_local, type LandingArea } from '../places/place';
import { ellipse_points } from '../places/map';

export interface Sweep {
  /** Magnetic, from left to right. */
  from_deg: number;
  to_deg: number;
  /** The station stands inside the area: any direction. */
  all_round: boolean;
}

const kLeast_deg = 10; // narrower than hands hold an antenna; common practice, no source

export function sweep_of(station: GeoPoint, area: LandingArea, declination_deg: number): Sweep | undefined {
  if (!is_place(station)) return undefined;
  const middle = course(station, area);
  const outline = ellipse_points({ ...area, east_m: 0, north_m: 0 }).map(({ east_m, north_m }) =>
    course(station, from_local(area, east_m, north_m)),
  );
  const turns = outline.map(({ bearing_deg }) => turn_deg(middle.bearing_deg, bearing_deg));
  // Seen from inside, the outline lies on every side: its neighbours still follow each other closely, but the turns jump.
  const all_round = turns.some((turn, i) => Math.abs(turn - (turns[(i + 1) % turns.length] ?? turn)) > 180);
  const half = kLeast_deg / 2;
  const left = Math.min(-half, ...turns);
  const right = Math.max(half, ...turns);
  const at = (turn: number): number => magnetic_deg(turned_deg(middle.bearing_deg + turn), declination_deg);
  return {
    from_deg: at(left),
    to_deg: at(right),
    all_round: all_round || right - left > 180 || middle.distance_m === 0,
  };
}
