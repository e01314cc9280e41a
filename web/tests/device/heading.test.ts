/** Which way a device points, from the angles of W3C Device Orientation. */
import { describe, expect, it } from 'vitest';
import { heading_of, smoothed_deg, type OrientationReading } from '../../src/device/heading';

const kRadian = Math.PI / 180;
const reading = (alpha: number | null, beta: number, gamma: number, more: Partial<OrientationReading> = {}) => ({
  alpha,
  beta,
  gamma,
  absolute: true,
  ...more,
});

/** Where the upper end points, by the rotation matrix Z-X'-Y'' that the document gives (its appendix on compass headings). */
function upper_end(alpha: number, beta: number, gamma: number): { azimuth_deg: number; elevation_deg: number } {
  const [a, b, c] = [alpha * kRadian, beta * kRadian, gamma * kRadian];
  const z = [
    [Math.cos(a), -Math.sin(a), 0],
    [Math.sin(a), Math.cos(a), 0],
    [0, 0, 1],
  ];
  const x = [
    [1, 0, 0],
    [0, Math.cos(b), -Math.sin(b)],
    [0, Math.sin(b), Math.cos(b)],
  ];
  const y = [
    [Math.cos(c), 0, Math.sin(c)],
    [0, 1, 0],
    [-Math.sin(c), 0, Math.cos(c)],
  ];
  const times = (m: number[][], v: number[]) => m.map((row) => row.reduce((sum, value, i) => sum + value * v[i]!, 0));
  const [east, north, up] = times(z, times(x, times(y, [0, 1, 0])));
  return {
    azimuth_deg: (Math.atan2(east!, north!) / kRadian + 360) % 360,
    elevation_deg: Math.asin(up!) / kRadian,
  };
}

describe('a heading', () => {
  it.each([
    [0, 0, 0],
    [90, 0, 0],
    [270, 20, 10],
    [123, -35, 40],
    [10, 70, -60],
    [200, 120, 5],
    [359, -170, 20],
  ])('of alpha %d, beta %d, gamma %d is that of the rotation matrix', (alpha, beta, gamma) => {
    const heading = heading_of(reading(alpha, beta, gamma), 0)!;
    const { azimuth_deg, elevation_deg } = upper_end(alpha, beta, gamma);
    expect(heading.magnetic_deg).toBeCloseTo(azimuth_deg, 6);
    expect(heading.elevation_deg).toBeCloseTo(elevation_deg, 6);
  });
  it('is that of what the screen shows as up', () =>
    expect(heading_of(reading(300, 0, 0), 90)!.magnetic_deg).toBeCloseTo(150, 9));
  it('comes from the compass where the device has one, with its accuracy', () => {
    const heading = heading_of(
      reading(12, 0, 0, { absolute: false, webkitCompassHeading: 250, webkitCompassAccuracy: 15 }),
      0,
    )!;
    expect([heading.magnetic_deg, heading.sigma_deg]).toEqual([250, 15]);
  });
  it('says no accuracy when the device gives none', () => {
    expect(heading_of(reading(0, 0, 0), 0)!.sigma_deg).toBeNaN();
    expect(
      heading_of(reading(0, 0, 0, { webkitCompassHeading: 1, webkitCompassAccuracy: -1 }), 0)!.sigma_deg,
    ).toBeNaN();
  });
  it('is none without a north to count from', () => {
    expect(heading_of(reading(10, 0, 0, { absolute: false }), 0)).toBeUndefined();
    expect(heading_of(reading(null, 0, 0), 0)).toBeUndefined();
    expect(heading_of({ ...reading(10, 0, 0), beta: null }, 0)).toBeUndefined();
  });
  it('is for no arrow while the device is held steeply', () => {
    expect(heading_of(reading(0, 20, 10), 0)!.tilted).toBe(false);
    expect(heading_of(reading(0, 70, 0), 0)!.tilted).toBe(true);
    expect(heading_of(reading(0, 0, -70), 0)!.tilted).toBe(true);
  });
});

describe('a smoothed heading', () => {
  it.each([
    [NaN, 20, 20],
    [350, 10, 355],
    [10, 350, 5],
    [90, 90, 90],
  ])('from %d towards %d', (before, now, want) => expect(smoothed_deg(before, now, 0.25)).toBeCloseTo(want, 9));
});
