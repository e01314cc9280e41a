/** Ways on WGS 84 against Karney's method; bearings by declination. */
import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { course, magnetic_deg, place_at, turn_deg } from '../../src/places/geodesic';

interface Inverse {
  id: string;
  lat1_deg: number;
  lon1_deg: number;
  lat2_deg: number;
  lon2_deg: number;
  distance_m: number;
  azi1_0_360_deg: number | null;
}
interface Direct extends Omit<Inverse, 'azi1_0_360_deg'> {
  azi1_deg: number;
}
interface Bearing {
  id: string;
  true_deg: number;
  declination_east_deg: number;
  magnetic_deg: number;
}
const { geodesic_inverse, geodesic_direct, bearings } = JSON.parse(
  readFileSync(new URL('../reference/places.json', import.meta.url), 'utf8'),
) as { geodesic_inverse: Inverse[]; geodesic_direct: Direct[]; bearings: Bearing[] };

const at = (latitude_deg: number, longitude_deg: number) => ({ latitude_deg, longitude_deg });

describe('the way from one place to another', () => {
  it.each(geodesic_inverse)('$id: distance and bearing are those of the geodesic', (one) => {
    const way = course(at(one.lat1_deg, one.lon1_deg), at(one.lat2_deg, one.lon2_deg));
    // A millimetre, and a part in ten million of a quarter of the earth: what Vincenty's series promises.
    expect(Math.abs(way.distance_m - one.distance_m)).toBeLessThan(1e-3 + 1e-7 * one.distance_m);
    if (one.azi1_0_360_deg === null) expect(way.bearing_deg).toBeNaN();
    else if (one.distance_m > 0.1) expect(Math.abs(turn_deg(one.azi1_0_360_deg, way.bearing_deg))).toBeLessThan(1e-4);
  });
  it.each(geodesic_direct)('$id: the place so far away is the one of the geodesic', (one) => {
    const place = place_at(at(one.lat1_deg, one.lon1_deg), { distance_m: one.distance_m, bearing_deg: one.azi1_deg });
    expect(course(place, at(one.lat2_deg, one.lon2_deg)).distance_m).toBeLessThan(1e-3);
    expect(Math.abs(place.longitude_deg)).toBeLessThanOrEqual(180);
  });
  it('has no answer between places opposite each other on the earth', () =>
    expect(course(at(0, 0), at(0.5, 179.7)).distance_m).toBeNaN());
  it('has none from a place that is not known', () => expect(course(at(NaN, NaN), at(1, 2)).distance_m).toBeNaN());
});

describe('a magnetic bearing', () => {
  it.each(bearings)('$id', (one) =>
    expect(Math.abs(turn_deg(one.magnetic_deg, magnetic_deg(one.true_deg, one.declination_east_deg)))).toBeLessThan(
      1e-9,
    ),
  );
});

describe('a turn', () => {
  it.each([
    [350, 10, 20],
    [10, 350, -20],
    [0, 180, 180],
    [181, 0, 179],
    [0, 360, 0],
    [-90, 270, 0],
  ])('from %d° to %d° is %d°, the short way', (from, to, turn) => expect(turn_deg(from, to)).toBeCloseTo(turn, 9));
});
