/**
 * The way from one place to another on WGS 84: T. Vincenty, "Direct and inverse solutions of geodesics on the ellipsoid
 * with application of nested equations", Survey Review XXIII/176 (1975). Good to a millimetre; places nearly opposite each
 * other on the earth have no answer.
 */
import type { GeoPoint } from '../stream/description';

export interface Course {
  distance_m: number;
  /** At its start, degrees clockwise from true north, [0, 360); NaN where both places are one. */
  bearing_deg: number;
}

const kMajor_m = 6378137; // WGS 84: NIMA TR8350.2, 3rd edition, table 3.1
const kFlattening = 1 / 298.257223563;
const kMinor_m = kMajor_m * (1 - kFlattening);
const kEnough_rad = 1e-12; // a few micrometres on the ground
const kRoundsMax = 100;
const kRadian = Math.PI / 180;

export const turned_deg = (deg: number): number => ((deg % 360) + 360) % 360;

/** Magnetic bearing; the declination is positive where magnetic north lies east of true north. */
export const magnetic_deg = (true_deg: number, declination_deg: number): number =>
  turned_deg(true_deg - declination_deg);

/** From one angle to another the short way round: (-180, 180], positive to the right. */
export function turn_deg(from_deg: number, to_deg: number): number {
  const turn = turned_deg(to_deg - from_deg);
  return turn > 180 ? turn - 360 : turn;
}

const reduced = (latitude_deg: number): number => Math.atan((1 - kFlattening) * Math.tan(latitude_deg * kRadian));

/** Vincenty's A and B. */
function series(cos2_alpha: number): { a: number; b: number } {
  const u2 = (cos2_alpha * (kMajor_m ** 2 - kMinor_m ** 2)) / kMinor_m ** 2;
  return {
    a: 1 + (u2 / 16384) * (4096 + u2 * (-768 + u2 * (320 - 175 * u2))),
    b: (u2 / 1024) * (256 + u2 * (-128 + u2 * (74 - 47 * u2))),
  };
}

function delta_sigma(b: number, sin_sigma: number, cos_sigma: number, cos_2m: number): number {
  const inner = cos_sigma * (2 * cos_2m ** 2 - 1) - (b / 6) * cos_2m * (4 * sin_sigma ** 2 - 3) * (4 * cos_2m ** 2 - 3);
  return b * sin_sigma * (cos_2m + (b / 4) * inner);
}

/** Difference between the longitude on the auxiliary sphere and the geodetic one. */
function longitude_shift(
  sin_alpha: number,
  cos2_alpha: number,
  sigma: number,
  sin_sigma: number,
  cos_sigma: number,
  cos_2m: number,
): number {
  const c = (kFlattening / 16) * cos2_alpha * (4 + kFlattening * (4 - 3 * cos2_alpha));
  return (1 - c) * kFlattening * sin_alpha * (sigma + c * sin_sigma * (cos_2m + c * cos_sigma * (2 * cos_2m ** 2 - 1)));
}

export function course(from: GeoPoint, to: GeoPoint): Course {
  const l = turn_deg(from.longitude_deg, to.longitude_deg) * kRadian;
  const [u1, u2] = [reduced(from.latitude_deg), reduced(to.latitude_deg)];
  const [sin_u1, cos_u1, sin_u2, cos_u2] = [Math.sin(u1), Math.cos(u1), Math.sin(u2), Math.cos(u2)];
  let lambda = l;
  for (let round = 0; round < kRoundsMax; round++) {
    const east = cos_u2 * Math.sin(lambda);
    const north = cos_u1 * sin_u2 - sin_u1 * cos_u2 * Math.cos(lambda);
    const sin_sigma = Math.hypot(east, north);
    if (sin_sigma === 0) return { distance_m: 0, bearing_deg: NaN };
    const cos_sigma = sin_u1 * sin_u2 + cos_u1 * cos_u2 * Math.cos(lambda);
    const sigma = Math.atan2(sin_sigma, cos_sigma);
    const sin_alpha = (cos_u1 * cos_u2 * Math.sin(lambda)) / sin_sigma;
    const cos2_alpha = 1 - sin_alpha ** 2;
    const cos_2m = cos2_alpha > 0 ? cos_sigma - (2 * sin_u1 * sin_u2) / cos2_alpha : 0; // 0: along the equator
    const before = lambda;
    lambda = l + longitude_shift(sin_alpha, cos2_alpha, sigma, sin_sigma, cos_sigma, cos_2m);
    if (Math.abs(lambda - before) > kEnough_rad) continue;
    const { a, b } = series(cos2_alpha);
    return {
      distance_m: kMinor_m * a * (sigma - delta_sigma(b, sin_sigma, cos_sigma, cos_2m)),
      bearing_deg: turned_deg(Math.atan2(east, north) / kRadian),
    };
  }
  return { distance_m: NaN, bearing_deg: NaN };
}

/** The place so far from another in a direction. */
export function place_at(from: GeoPoint, { distance_m, bearing_deg }: Course): GeoPoint {
  const alpha1 = bearing_deg * kRadian;
  const u1 = reduced(from.latitude_deg);
  const [sin_u1, cos_u1] = [Math.sin(u1), Math.cos(u1)];
  const sigma1 = Math.atan2(Math.tan(u1), Math.cos(alpha1));
  const sin_alpha = cos_u1 * Math.sin(alpha1);
  const cos2_alpha = 1 - sin_alpha ** 2;
  const { a, b } = series(cos2_alpha);
  const first = distance_m / (kMinor_m * a);
  let sigma = first;
  for (let round = 0; round < kRoundsMax; round++) {
    const before = sigma;
    sigma = first + delta_sigma(b, Math.sin(sigma), Math.cos(sigma), Math.cos(2 * sigma1 + sigma));
    if (Math.abs(sigma - before) < kEnough_rad) break;
  }
  const [sin_sigma, cos_sigma] = [Math.sin(sigma), Math.cos(sigma)];
  const cos_2m = Math.cos(2 * sigma1 + sigma);
  const across = sin_u1 * sin_sigma - cos_u1 * cos_sigma * Math.cos(alpha1);
  const latitude = Math.atan2(
    sin_u1 * cos_sigma + cos_u1 * sin_sigma * Math.cos(alpha1),
    (1 - kFlattening) * Math.hypot(sin_alpha, across),
  );
  const lambda = Math.atan2(sin_sigma * Math.sin(alpha1), cos_u1 * cos_sigma - sin_u1 * sin_sigma * Math.cos(alpha1));
  const l = lambda - longitude_shift(sin_alpha, cos2_alpha, sigma, sin_sigma, cos_sigma, cos_2m);
  const longitude_deg = turned_deg(from.longitude_deg + l / kRadian + 180) - 180;
  return { latitude_deg: latitude / kRadian, longitude_deg };
}

export const is_place = (point: GeoPoint): boolean =>
  Number.isFinite(point.latitude_deg) && Number.isFinite(point.longitude_deg);
