/** Where a vehicle is and where it may come down, in metres east and north of the pad. */
import type { TapeSeconds } from '../stream/clocks';
import { estimate, kLandingCases, kLikeliestWords, type Estimate, type LandingCaseName } from '../tape/estimates';
import type { Tape } from '../tape/tape';

export interface Place {
  east_m: number;
  north_m: number;
}

/** A predicted landing with its 95 % ellipse. */
export interface LandingCase extends Place {
  name: LandingCaseName;
  semi_major_m: number;
  semi_minor_m: number;
  /** Of the longer axis, degrees clockwise from true north. */
  bearing_deg: number;
  /** Fraction outside the boundary; NaN without one. */
  outside: number;
  /** Of the case; NaN in a recording that does not say. */
  probability: number;
  likeliest: boolean;
}

/** Degrees clockwise from true north of a horizontal vector, [0, 360); NaN for none. */
export function bearing_deg(east: number, north: number): number {
  if (east === 0 && north === 0) return NaN;
  return ((Math.atan2(east, north) * 180) / Math.PI + 360) % 360;
}

/** The predicted landings at the cursor, or as they were earlier; cases that are ruled out by then are absent. */
export function landing_cases(tape: Tape, vehicle: number, as_of_s: TapeSeconds = Infinity): LandingCase[] {
  const landing = estimate(tape, vehicle, 'landing', as_of_s);
  const likeliest = likeliest_landing(tape, vehicle, landing, as_of_s);
  return kLandingCases
    .map((name) => ({
      name,
      east_m: landing.value(`${name}_east_m`),
      north_m: landing.value(`${name}_north_m`),
      semi_major_m: landing.value(`${name}_semi_major_m`),
      semi_minor_m: landing.value(`${name}_semi_minor_m`),
      bearing_deg: landing.value(`${name}_bearing_deg`),
      outside: landing.value(`${name}_outside`),
      probability: landing.value(`${name}_probability`),
      likeliest: name === likeliest,
    }))
    .filter((one) => Number.isFinite(one.east_m) && Number.isFinite(one.semi_major_m));
}

const kHeadsUp: ReadonlySet<string> = new Set(['impact_expected', 'no_parachute']);

/** Whether the station warns of a fall without a parachute. */
export const warns_of_impact = (tape: Tape, vehicle: number, at_s: TapeSeconds = tape.cursor_s): boolean =>
  tape.log.alerts_at(at_s).some(({ event }) => event.vehicle === vehicle && kHeadsUp.has(event.event));

/**
 * The case that every view goes by: without a parachute while the station warns of that, else the one that fits best
 * what has been seen; nominal where a recording does not say.
 */
export function likeliest_landing(
  tape: Tape,
  vehicle: number,
  landing: Estimate<'landing'>,
  as_of_s: TapeSeconds = Infinity,
): LandingCaseName {
  if (warns_of_impact(tape, vehicle, Math.min(tape.cursor_s, as_of_s))) return 'no_parachute';
  const word = landing.word('likeliest');
  return kLandingCases.find((name) => kLikeliestWords[name] === word) ?? 'nominal';
}

/** Where the vehicle is at the cursor by navigation; undefined when that is not known. */
export function vehicle_place(tape: Tape, vehicle: number): Place | undefined {
  const navigation = estimate(tape, vehicle, 'navigation');
  const place = { east_m: navigation.value('east_m'), north_m: navigation.value('north_m') };
  return Number.isFinite(place.east_m) && Number.isFinite(place.north_m) ? place : undefined;
}
