/** Places on the map: metres from the pad, ellipses, bearings, and a view that keeps still. */
import { describe, expect, it } from 'vitest';
import { bearing_deg } from '../../src/places/landing';
import { ellipse_points, extent_of, fit, from_pad } from '../../src/places/map';

describe('the map', () => {
  // Lengths of a degree on WGS 84 in km: NGA, "Length of a degree of latitude and longitude", the usual table at 0, 30, 45, 60 degrees.
  it.each([
    [0, 110.574, 111.32],
    [30, 110.852, 96.486],
    [45, 111.132, 78.847],
    [60, 111.412, 55.8],
  ])('at %d° a degree is %d km along and %d km across', (latitude, along_km, across_km) => {
    const pad = { latitude_deg: latitude, longitude_deg: 179.9 };
    const place = from_pad(pad, { latitude_deg: latitude + 0.01, longitude_deg: -180.09 });
    expect(place.north_m / 10).toBeCloseTo(along_km, 2);
    expect(place.east_m / 10).toBeCloseTo(across_km, 2);
  });
  it('turns an ellipse clockwise from north', () => {
    const points = ellipse_points({ east_m: 10, north_m: 20, semi_major_m: 5, semi_minor_m: 2, bearing_deg: 90 }, 4);
    [
      [15, 20],
      [10, 18],
      [5, 20],
      [10, 22],
    ].forEach(([east, north], i) => {
      expect(points[i]?.east_m).toBeCloseTo(east ?? NaN, 9);
      expect(points[i]?.north_m).toBeCloseTo(north ?? NaN, 9);
    });
  });
  it('keeps its view until something leaves it or all of it is small', () => {
    const box = (half: number) =>
      extent_of([
        { east_m: -half, north_m: -half },
        { east_m: half, north_m: half },
        { east_m: NaN, north_m: 0 },
      ]);
    const first = fit(box(400), 200, 100, undefined);
    expect(first).toEqual({ east_m: 0, north_m: 0, m_per_px: 10 });
    expect(fit(box(300), 200, 100, first)).toBe(first);
    expect(fit(box(700), 200, 100, first).m_per_px).toBeCloseTo(17.5, 9);
    expect(fit(box(150), 200, 100, first).m_per_px).toBeLessThan(first.m_per_px);
    expect(fit(extent_of([]), 200, 100, first)).toBe(first);
  });
  // Clockwise from north, as ISO 19111 takes an azimuth.
  it.each([
    [0, 1, 0],
    [1, 0, 90],
    [0, -1, 180],
    [-1, 0, 270],
    [1, 1, 45],
  ])('of %d east and %d north the bearing is %d°', (east, north, deg) =>
    expect(bearing_deg(east, north)).toBeCloseTo(deg, 12),
  );
  it('of the pad itself there is none', () => expect(bearing_deg(0, 0)).toBeNaN());
});
