/** Where the antenna should point, at the tape's cursor, and how far that is from where it is held. */
import type { TapeSeconds } from '../stream/clocks';
import { estimate } from '../tape/estimates';
import { course, is_place, magnetic_deg, turn_deg } from '../places/geodesic';
import { last_heard_s } from '../tape/links';
import { last_place } from '../places/place';
import type { Tape } from '../tape/tape';

/** Above this the azimuth swings through everything with nothing to gain from following it. */
export const kOverhead_deg = 80;
const kOverheadLeaves_deg = 77; // a gap below it keeps the word from flickering
const kRateOver_s = 1;
const kOld_s = 3; // as the server calls a link that brings nothing

export type AimState =
  /** Angles are those of what was measured a moment ago. */
  | 'tracking'
  /** Nothing comes any more: the angles are the last ones. */
  | 'lost'
  /** The vehicle was never placed. */
  | 'unplaced';

export interface Aim {
  state: AimState;
  /** Magnetic where the site says the declination; NaN: not known, or overhead. */
  azimuth_deg: number;
  elevation_deg: number;
  azimuth_sigma_deg: number;
  elevation_sigma_deg: number;
  overhead: boolean;
  /** Degrees a second, to the right and up; NaN: not known. */
  right_degps: number;
  up_degps: number;
  age_s: number;
}

/** `was_overhead`: what was shown before. */
export function aim_at(tape: Tape, vehicle: number, was_overhead: boolean): Aim {
  // What the estimators make of silence gives no direction to point at: the angles stop where the vehicle was last heard.
  const heard_s = last_heard_s(tape, vehicle);
  const look = estimate(tape, vehicle, 'look_angles', heard_s);
  const elevation_deg = look.value('elevation_deg');
  const overhead = elevation_deg > (was_overhead ? kOverheadLeaves_deg : kOverhead_deg);
  const age_s = tape.cursor_s - Math.min(look.t_s, heard_s);
  const rates = angle_rates(tape, vehicle);
  return {
    state: !Number.isFinite(elevation_deg) ? 'unplaced' : age_s > kOld_s ? 'lost' : 'tracking',
    azimuth_deg: overhead ? NaN : look.value('azimuth_magnetic_deg'),
    elevation_deg,
    azimuth_sigma_deg: look.sigma('azimuth_deg'),
    elevation_sigma_deg: look.sigma('elevation_deg'),
    overhead,
    right_degps: overhead ? NaN : rates.right_degps,
    up_degps: rates.up_degps,
    age_s,
  };
}

function angle_rates(tape: Tape, vehicle: number): { right_degps: number; up_degps: number } {
  const { data, ref, t_s } = estimate(tape, vehicle, 'look_angles');
  const azimuth = ref('azimuth_deg')?.column;
  const elevation = ref('elevation_deg')?.column;
  if (!data || azimuth === undefined || elevation === undefined) return { right_degps: NaN, up_degps: NaN };
  const { columns } = data;
  const [last, first] = [columns.find(t_s), columns.find(t_s - kRateOver_s)];
  const between_s = columns.time(last) - columns.time(first);
  if (first < 0 || !(between_s > 0) || between_s > 2 * kRateOver_s) return { right_degps: NaN, up_degps: NaN };
  return {
    right_degps: turn_deg(columns.value(azimuth, first), columns.value(azimuth, last)) / between_s,
    up_degps: (columns.value(elevation, last) - columns.value(elevation, first)) / between_s,
  };
}

/** How the antenna is held. */
export interface Held {
  azimuth_deg: number;
  elevation_deg: number;
}

export interface Cue {
  /** To turn: positive to the right, up; NaN: no telling. */
  turn_deg: number;
  raise_deg: number;
  /** Of both together, in half beams; NaN without a beam. */
  off_half_beams: number;
}

const kRadian = Math.PI / 180;

/** Angle between two directions of the sky. */
export function angle_between_deg(a: Held, b: Held): number {
  const cosine =
    Math.sin(a.elevation_deg * kRadian) * Math.sin(b.elevation_deg * kRadian) +
    Math.cos(a.elevation_deg * kRadian) *
      Math.cos(b.elevation_deg * kRadian) *
      Math.cos((a.azimuth_deg - b.azimuth_deg) * kRadian);
  return Math.acos(Math.min(1, Math.max(-1, cosine))) / kRadian;
}

export function cue_of(aim: Held, held: Held | undefined, beamwidth_deg: number): Cue {
  if (!held) return { turn_deg: NaN, raise_deg: NaN, off_half_beams: NaN };
  const turn = turn_deg(held.azimuth_deg, aim.azimuth_deg);
  const raise = aim.elevation_deg - held.elevation_deg;
  // Overhead there is no azimuth, and the elevation is all there is to be off by.
  const off_deg = Number.isFinite(turn) ? angle_between_deg(aim, held) : Math.abs(raise);
  return { turn_deg: turn, raise_deg: raise, off_half_beams: off_deg / (beamwidth_deg / 2) };
}

/** Magnetic direction from the station to the pad, and to where the vehicle was last measured; NaN: not known. */
export function fixed_directions(tape: Tape, vehicle: number): { pad_deg: number; last_place_deg: number } {
  const { station, pad, declination_deg } = tape.description.site;
  const place = last_place(tape, vehicle);
  const toward = (to: typeof pad | undefined): number =>
    to && is_place(station) && is_place(to) ? magnetic_deg(course(station, to).bearing_deg, declination_deg) : NaN;
  return { pad_deg: toward(pad), last_place_deg: toward(place) };
}

/** When it will be lower than overhead, by its rate; NaN: not in sight. */
export function below_overhead_in_s(aim: Aim): TapeSeconds {
  if (!aim.overhead || !(aim.up_degps < -0.1)) return NaN;
  return (aim.elevation_deg - kOverhead_deg) / -aim.up_degps;
}
