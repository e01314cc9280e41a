/** What people drew beside the site file, as paths in metres. */
import { expect, it } from 'vitest';
import { from_pad } from '../../src/places/map';
import { overlay_paths } from '../../src/places/overlays.svelte';

const pad = { latitude_deg: 40, longitude_deg: -118 };
const at = (latitude_deg: number, longitude_deg: number): { latitude_deg: number; longitude_deg: number } => ({
  latitude_deg,
  longitude_deg,
});

it('draws lines, areas with holes and points, north up', () => {
  const square = (size: number): ReturnType<typeof at>[] => [
    at(40, -118),
    at(40 + size, -118),
    at(40 + size, -118 + size),
    at(40, -118 + size),
  ];
  const paths = overlay_paths(
    [
      { kind: 'line', name: 'road', parts: [[at(40, -118), at(40.001, -118)]] },
      { kind: 'area', name: 'lake', parts: [square(0.002), square(0.001)] },
      { kind: 'point', name: 'tent', parts: [[at(40, -117.999)]] },
      { kind: 'line', name: 'nothing', parts: [[]] },
    ],
    pad,
  );
  // A thousandth of a degree of latitude at 40 degrees is 111.0 m (meridian radius of WGS 84: 6361.8 km).
  expect(paths.map(({ path }) => path)).toEqual([
    'M0.0 0.0L0.0 -111.0',
    expect.stringMatching(/^M0.0 0.0L0.0 -222.1L170.8 -222.1L170.8 0.0ZM0.0 0.0L0.0 -111.0L85.4 -111.0L85.4 0.0Z$/),
    '',
  ]);
  expect(paths[1]).toMatchObject({ area: true, name: 'lake' });
  expect(paths[1]?.at.north_m).toBeCloseTo(111.0, 1);
  expect(paths[2]?.at).toEqual(from_pad(pad, at(40, -117.999)));
});
