/** Axes as divided. */
import { describe, expect, it } from 'vitest';
import { nice_step, step_decimals, tick_words, time_step_s } from '../../src/draw/ticks';

describe('axes', () => {
  it.each([
    [10, 4, 5],
    [1, 4, 0.5],
    [7, 4, 2],
    [0.03, 3, 0.01],
  ])('span %d in at most %d steps of %d', (span, count, step) => expect(nice_step(span, count)).toBeCloseTo(step, 12));
  it('divides time as clocks do', () =>
    expect([6, 60, 170, 4000].map((span) => time_step_s(span, 6))).toEqual([1, 10, 30, 900]));
  it.each([
    ['By', 200_000_000, 50_000_000, '200 MB'],
    ['By', 4_294_500_000, 500_000, '4.2945 GB'],
    ['By', 0, 500, '0 B'],
    ['By', -2000, 1000, '−2 kB'],
    ['rad/s', (5 * Math.PI) / 180, (5 * Math.PI) / 180, '5'],
    ['Pa', 90_050, 50, '900.5'],
    ['m', 300, 100, '300'],
  ])('in %s, %d of a scale by %d reads %s', (unit, tick, step, words) =>
    expect(tick_words(unit, tick, step)).toBe(words),
  );
  it('knows the decimals of a step', () => expect([0.05, 0.5, 1, 20].map(step_decimals)).toEqual([2, 1, 0, 0]));
});
