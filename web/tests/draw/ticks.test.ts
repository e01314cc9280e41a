/** Axes as divided. */
import { describe, expect, it } from 'vitest';
import { nice_step, step_decimals, time_step_s } from '../../src/draw/ticks';

describe('axes', () => {
  it.each([
    [10, 4, 5],
    [1, 4, 0.5],
    [7, 4, 2],
    [0.03, 3, 0.01],
  ])('span %d in at most %d steps of %d', (span, count, step) => expect(nice_step(span, count)).toBeCloseTo(step, 12));
  it('divides time as clocks do', () =>
    expect([6, 60, 170, 4000].map((span) => time_step_s(span, 6))).toEqual([1, 10, 30, 900]));
  it('knows the decimals of a step', () => expect([0.05, 0.5, 1, 20].map(step_decimals)).toEqual([2, 1, 0, 0]));
});
