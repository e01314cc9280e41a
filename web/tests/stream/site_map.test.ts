/** The map's answer as the station gives it, and what is not one. */
import { describe, expect, it } from 'vitest';
import { read_site_map } from '../../src/stream/site_map';

const good = {
  overlays: [
    {
      title: 'roads',
      shapes: [
        {
          kind: 'line',
          name: '',
          parts: [
            [
              [-47.26, 68.48],
              [-47.25, 68.49],
            ],
          ],
        },
      ],
    },
  ],
  tiles: { zoom_least: 10, zoom_most: 16, attribution: 'drawn by hand' },
  problems: ['torn.geojson: is not JSON; it is left out of the map'],
};

describe('the answer about the map', () => {
  it('has overlays with places, tiles and problems', () => {
    const map = read_site_map(good);
    expect(map.overlays[0]?.shapes[0]?.parts[0]?.[1]).toEqual({ latitude_deg: -47.25, longitude_deg: 68.49 });
    expect(map.tiles).toEqual(good.tiles);
    expect(map.problems).toEqual(good.problems);
    expect(read_site_map({ ...good, tiles: null }).tiles).toBeUndefined();
  });
  it.each([
    ['no object', 7],
    ['no overlays', { ...good, overlays: undefined }],
    ['a shape of no known kind', { ...good, overlays: [{ title: 'a', shapes: [{ kind: 'ring', parts: [] }] }] }],
    ['a place of one number', { ...good, overlays: [{ title: 'a', shapes: [{ kind: 'point', parts: [[[1]]] }] }] }],
    ['tiles without zooms', { ...good, tiles: {} }],
  ])('is refused with %s', (_, answer) => expect(() => read_site_map(answer)).toThrow(/map/));
});
