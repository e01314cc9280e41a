/** The way flown, with heights, as maps and side views draw it. */
import type { TapeSeconds } from '../../stream/clocks';
import type { Place } from '../../places/landing';
import { walk_track } from '../../places/map';
import type { Tape } from '../tape';

/** A place on the way flown, with its height. */
export interface TrackPoint extends Place {
  t_s: TapeSeconds;
  up_m: number;
}

/** From `from_s` to the cursor, oldest first. */
export function track_of(tape: Tape, vehicle: number, from_s: TapeSeconds): TrackPoint[] {
  const points: TrackPoint[] = [];
  walk_track(tape, vehicle, from_s, (east_m, north_m, up_m, t_s) => points.push({ t_s, east_m, north_m, up_m }));
  return points;
}
