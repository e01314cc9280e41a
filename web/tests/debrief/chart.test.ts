/** Scales of the debrief's charts. */
import { describe, expect, it } from 'vitest';
import {
  chart_data,
  decades,
  decade_words,
  even_steps,
  range_of,
  steps_up,
  type ChartLine,
} from '../../src/debrief/chart';

const line = (values: number[], band?: ChartLine['band']): ChartLine => ({
  values,
  colour: 1,
  dash: [],
  ...(band && { band }),
});
const plain = { unit: 'm', log: false, least: 0 };

describe('steps', () => {
  it('are round and lie inside', () => {
    const steps = even_steps(-13, 1107, 5);
    expect(steps).toEqual([0, 500, 1000]);
  });
  it('are two at least, so that a scale can be read', () => {
    expect(even_steps(-126, 181, steps_up(112))).toEqual([-100, 0, 100]);
    expect(even_steps(-9.5, 9.5, steps_up(112))).toEqual([-5, 0, 5]);
  });
  it('of a logarithm are decades, finer where there is room', () => {
    expect(decades(0.5, 60, 10)).toEqual([0.5, 1, 2, 5, 10, 20, 50]);
    expect(decades(0.5, 60, 3)).toEqual([1, 10]);
  });
  it('of a logarithm are none below zero', () => {
    expect(decades(-1, 10, 4)).toEqual([]);
  });
});

it.each([
  [1000, '1000'],
  [0.01, '0.01'],
  [1e-6, '10⁻⁶'],
  [2e-6, '2·10⁻⁶'],
  [1e5, '10⁵'],
])('%d is %s on a logarithmic scale', (value, words) => {
  expect(decade_words(value)).toBe(words);
});

describe('the range of a scale', () => {
  it('holds lines and their bands, without what is not known', () => {
    const [low, high] = range_of(
      [
        line(
          [0, NaN, 100],
          [
            [-20, NaN, 90],
            [10, NaN, 140],
          ],
        ),
      ],
      plain,
    );
    expect(low).toBeLessThanOrEqual(-20);
    expect(high).toBeGreaterThanOrEqual(140);
  });
  it('is not smaller than the least, so that noise does not look like news', () => {
    const [low, high] = range_of([line([5, 5.001])], { ...plain, least: 2 });
    expect(high - low).toBeGreaterThanOrEqual(2);
  });
  it('of a logarithm leaves zero out', () => {
    const [low] = range_of([line([0, 0.01, 10])], { ...plain, log: true });
    expect(low).toBeGreaterThan(0);
  });
  it('stands without a value', () => {
    expect(range_of([line([NaN])], plain)).toEqual([0, 1]);
  });
});

it('breaks a line where there is no value', () => {
  const [x, values] = chart_data([0, 1, 2], [line([1, NaN, 3])]);
  expect([x, values]).toEqual([
    [0, 1, 2],
    [1, null, 3],
  ]);
});
