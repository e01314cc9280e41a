/** Pictures under the map: the grid of OGC 17-083r4 and where its pictures lie in metres from the pad. */
import { describe, expect, it } from 'vitest';
import { tiles_of, zoom_for } from '../../src/places/tiles';

const tiles = { zoom_least: 10, zoom_most: 17, attribution: '' };
const pad = { latitude_deg: -21.3846, longitude_deg: 23.1752 };
const view = { east_m: 120, north_m: -80, m_per_px: 3 };

describe('tiles under a view', () => {
  const found = tiles_of(pad, view, 700, 420, tiles);

  it('cover all of it, edge to edge, and nothing far away', () => {
    const edges = { west: -930, east: 1170, north: 550, south: -710 };
    const [first, last] = [found[0]!, found.at(-1)!];
    expect(first.north_west.east_m).toBeLessThanOrEqual(edges.west);
    expect(first.north_west.north_m).toBeGreaterThanOrEqual(edges.north);
    expect(last.south_east.east_m).toBeGreaterThanOrEqual(edges.east);
    expect(last.south_east.north_m).toBeLessThanOrEqual(edges.south);
    const across_m = first.south_east.east_m - first.north_west.east_m;
    expect(first.north_west.east_m).toBeGreaterThan(edges.west - across_m);
    for (const one of found) {
      const beside = found.find((other) => other.y === one.y && other.x === one.x + 1);
      if (beside) expect(beside.north_west.east_m).toBeCloseTo(one.south_east.east_m, 6);
    }
  });
  it('have the side that their zoom gives at that latitude', () => {
    const { zoom, north_west, south_east } = found[0]!;
    // 17-083r4, annex D: at zoom 0 a tile is 2 pi 6378137 m wide at the equator.
    const side_m = (2 * Math.PI * 6378137 * Math.cos((pad.latitude_deg * Math.PI) / 180)) / 2 ** zoom;
    expect((south_east.east_m - north_west.east_m) / side_m).toBeCloseTo(1, 2);
    // Its sphere is up to 0.7 % larger than the ellipsoid's curvature along a meridian.
    expect(Math.abs((north_west.north_m - south_east.north_m) / side_m - 1)).toBeLessThan(0.007);
  });
  it('hold the pad where the grid has it', () => {
    // By hand: x = (23.1752 + 180) / 360 2^15, y = (1 - asinh(tan(-21.3846 deg)) / pi) / 2 2^15.
    const at = tiles_of(pad, { east_m: 0, north_m: 0, m_per_px: 3 }, 2, 2, { ...tiles, zoom_least: 15, zoom_most: 15 });
    expect(at.map(({ zoom, x, y }) => [zoom, x, y])).toEqual([[15, 18493, 18377]]);
  });
  it.each([
    [0.01, 17],
    [3, 15],
    [1e5, 10],
  ])('at %d m a pixel are of zoom %d', (m_per_px, zoom) =>
    expect(zoom_for(tiles, m_per_px, pad.latitude_deg)).toBe(zoom),
  );
  it('are none where the pack has only far finer ones, or nobody knows where the pad is', () => {
    expect(tiles_of(pad, { ...view, m_per_px: 300 }, 700, 420, { ...tiles, zoom_least: 17 })).toEqual([]);
    expect(tiles_of({ latitude_deg: NaN, longitude_deg: NaN }, view, 700, 420, tiles)).toEqual([]);
  });
});
