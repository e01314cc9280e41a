/** Distance and bearing to walk, rounded as far as both places are known. */
import type { GeoPoint } from '../stream/description';
import { course, magnetic_deg } from '../places/geodesic';
import { format_bearing, format_fixed, kNoValue } from '../text/format';

/** Where one starts, and how well that is known. */
export interface StartPlace extends GeoPoint {
  /** 1-sigma; 0 for a place that was typed or surveyed. */
  sigma_m: number;
}

export interface Walk {
  /** NaN: not known. */
  distance_m: number;
  true_deg: number;
  magnetic_deg: number;
  distance: { text: string; unit: string };
  /** Empty where the places are too near to each other for a direction. */
  true_text: string;
  magnetic_text: string;
  /** "north-east"; empty without a direction. */
  toward: string;
  /** Within what is not known of the two places: look around. */
  near: boolean;
}

const kUnknownSigma_m = 10; // of a place whose sender gives no accuracy; common practice, no source
const kNear = 2; // sigmas
const kKilometre_m = 10_000; // from here in kilometres
const kDegrees = 180 / Math.PI;

const kToward = ['north', 'north-east', 'east', 'south-east', 'south', 'south-west', 'west', 'north-west'] as const;

export const toward_words = (true_deg: number): string =>
  Number.isFinite(true_deg) ? (kToward[Math.round(true_deg / 45) % 8] ?? '') : '';

/** A figure's last step: of 1, 5, 10, 50, ... the largest that is not above what is unsure of it. */
function step_of(sigma: number): number {
  if (!(sigma > 1)) return 1;
  const decade = 10 ** Math.floor(Math.log10(sigma));
  return sigma >= 5 * decade ? 5 * decade : decade;
}

/** "332 m", "1240 m", "12.3 km". */
export function format_distance(distance_m: number, sigma_m = 0): { text: string; unit: string } {
  if (!Number.isFinite(distance_m)) return { text: kNoValue, unit: '' };
  const step_m = step_of(sigma_m);
  const rounded_m = Math.round(distance_m / step_m) * step_m;
  return rounded_m >= kKilometre_m
    ? { text: format_fixed(rounded_m / 1000, 1), unit: 'km' }
    : { text: format_fixed(rounded_m, 0), unit: 'm' };
}

/** To its degree, or to 5 or 10 of them. */
export function format_direction(deg: number, sigma_deg: number): string {
  if (!Number.isFinite(deg)) return '';
  const step_deg = Math.min(10, step_of(sigma_deg));
  return format_bearing(Math.round(deg / step_deg) * step_deg);
}

export function walk_to(start: StartPlace, to: GeoPoint, to_sigma_m: number, declination_deg: number): Walk {
  const { distance_m, bearing_deg } = course(start, to);
  const sigma_m = Math.hypot(start.sigma_m, Number.isFinite(to_sigma_m) ? to_sigma_m : kUnknownSigma_m);
  const near = distance_m <= kNear * sigma_m;
  const direction_sigma_deg = Math.atan2(sigma_m, distance_m) * kDegrees;
  const magnetic = magnetic_deg(bearing_deg, declination_deg);
  const shown = (deg: number): string => (near ? '' : format_direction(deg, direction_sigma_deg));
  return {
    distance_m,
    true_deg: bearing_deg,
    magnetic_deg: magnetic,
    distance: format_distance(distance_m, sigma_m),
    true_text: shown(bearing_deg),
    magnetic_text: shown(magnetic),
    toward: near ? '' : toward_words(bearing_deg),
    near,
  };
}
