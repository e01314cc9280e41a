/** Lines as rastered: no spike is lost, no gap is bridged. */
import { describe, expect, it } from 'vitest';
import { Raster } from '../../../src/draw/strip/raster';

describe('a raster', () => {
  const drawn = (points: [number, number][], gap_s = Infinity): (readonly [number, number] | undefined)[] => {
    const raster = new Raster();
    raster.begin(5, 0, 5);
    for (const [t, v] of points) raster.add(t, v, gap_s);
    return Array.from({ length: 5 }, (_, x) =>
      Number.isNaN(raster.low[x] ?? NaN) ? undefined : ([raster.low[x] ?? NaN, raster.high[x] ?? NaN] as const),
    );
  };
  it('keeps a spike that is narrower than a pixel', () =>
    expect(
      drawn([
        [0, 0],
        [2.1, 0],
        [2.2, 50],
        [2.3, 0],
        [4.9, 0],
      ])[2],
    ).toEqual([0, 50]));
  it('joins points across columns in a straight line', () =>
    expect(
      drawn([
        [0, 0],
        [4, 4],
      ]),
    ).toEqual([
      [0, 1],
      [1, 2],
      [2, 3],
      [3, 4],
      [4, 4],
    ]));
  it('leaves a gap where data are missing', () => {
    expect(
      drawn(
        [
          [0.5, 1],
          [4.5, 1],
        ],
        1,
      ),
    ).toEqual([[1, 1], undefined, undefined, undefined, [1, 1]]);
    expect(
      drawn([
        [0.5, 1],
        [1.5, NaN],
        [4.5, 1],
      ]),
    ).toEqual([[1, 1], undefined, undefined, undefined, [1, 1]]);
  });
  it('is the same after the same rows again', () => {
    const points: [number, number][] = [
      [0, 3],
      [1.2, -1],
      [2.7, 8],
      [4.4, 0],
    ];
    const raster = new Raster();
    raster.begin(5, 0, 5);
    for (let round = 0; round < 2; round++) {
      raster.break();
      for (const [t, v] of points) raster.add(t, v, Infinity);
    }
    expect(Array.from(raster.low)).toEqual(drawn(points).map((span) => span?.[0] ?? NaN));
  });
});
