/** Figures of the debrief: no digit that the ± denies. */
import { describe, expect, it } from 'vitest';
import {
  difference_words,
  figure_words,
  interval_words,
  landing_words,
  mean_of,
  stopwatch,
  with_spread,
} from '../../src/debrief/figures';
import type { Figure } from '../../src/stream/flights';

const plain = (text: string): string => text.replace(/[\u202f\u00a0]/g, ' ').replace('\u2212', '-');

it.each([
  ['m', 1107.4, 2.1, '1107 ± 2 m'],
  ['m', 1088.2, 38, '1090 ± 40 m'],
  ['s', 1.8412, 0.021, '1.84 ± 0.02 s'],
  ['{fraction}', 0.0142, NaN, '1.4 %'],
  ['m', 340.4, NaN, '340 m'],
  ['N.s', 372.4, 6.1, '372 ± 6 N·s'],
  ['1', -2.104, 0.16, '-2.1 ± 0.2'],
  ['m', NaN, 2, '–'],
])('in %s, %d with %d is %s', (unit, value, sigma, words) => {
  expect(plain(figure_words(unit, value, sigma))).toBe(words);
});

it('leaves the unit to the column of a table', () => {
  expect(plain(with_spread('m', 1061, 3))).toBe('1061 ± 3');
});

it.each([
  ['1', [0.4231, 0.5102], '0.423 to 0.510'],
  ['m', [1070.2, 1110.9], '1070 to 1111'],
  ['1', [0.42312, 0.42314], '0.423'],
  ['1', [NaN, 2], ''],
] as const)('an interval in %s of %j is %s', (unit, interval, words) => {
  expect(interval_words(unit, interval)).toBe(words);
});

it('a difference has no zero of its own', () => {
  expect(difference_words('K', 0.3)).toBe('0.300');
});

describe('a landing', () => {
  const figure = (key: string, value: number, sigma: number): [string, Figure] => [
    key,
    { key, title: key, unit: key === 'landing_m' ? 'm' : 'deg', value, sigma },
  ];
  it('is said by distance and bearing', () => {
    expect(plain(landing_words(new Map([figure('landing_m', 114.2, 3), figure('landing_deg', 7.4, 2)])))).toBe(
      '114 m at 007°',
    );
  });
  it('is nothing when it is not known', () => {
    expect(landing_words(new Map([figure('landing_m', NaN, NaN)]))).toBe('');
  });
});

it.each([
  [82.4, '1:22'],
  [31, '0:31'],
  [4000, '1 h 06 min'],
])('%d s is %s on a stopwatch', (t_s, words) => {
  expect(stopwatch(t_s)).toBe(words);
});

// Squares of the deviations from 5 add up to 32.
it('gives mean and sample standard deviation of what is known', () => {
  const { mean, sd, n } = mean_of([2, 4, NaN, 4, 4, 5, 5, 7, 9]);
  expect([mean, n]).toEqual([5, 8]);
  expect(sd).toBeCloseTo(Math.sqrt(32 / 7), 12);
});
