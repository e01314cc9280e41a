/** Numbers as text. */
import { describe, expect, it } from 'vitest';
import {
  format_age,
  format_bearing,
  format_clock,
  format_countdown,
  format_duration,
  format_fixed,
  format_fraction,
  format_interval,
  format_sigma,
  format_size,
  format_span,
  format_to_go,
  format_value,
} from '../../src/text/format';
import { column } from '../support/builders';

describe('numbers', () => {
  it.each([
    [1.005, 1, '1.0'],
    [-0.04, 1, '0.0'],
    [-12.35, 1, '−12.3'],
    [NaN, 2, '–'],
    [Infinity, 2, '–'],
    [-5, 0, '−5'],
  ])('%d with %d decimals is %s', (value, decimals, text) => expect(format_fixed(value, decimals)).toBe(text));
  it.each([
    [0, '+0:00.0'],
    [12.345, '+0:12.3'],
    [-3.05, '−0:03.0'],
    [-0.04, '+0:00.0'],
    [3723.9, '+1:02:03.9'],
    [59.96, '+0:59.9'],
  ])('clock %d is %s', (t_s, text) => expect(format_clock(t_s)).toBe(text));
  it.each([
    [42, '42 s'],
    [125, '2 min 05 s'],
    [3700, '1 h 01 min'],
    [NaN, '–'],
  ])('duration %d is %s', (t_s, text) => expect(format_duration(t_s)).toBe(text));
  it.each([
    [0.25, '0.3 s'],
    [81, '81 s'],
    [100, '1 min'],
    [3599, '59 min'],
    [11_150, '3 h 05 min'],
    [NaN, '–'],
  ])('age %d is %s', (age_s, text) => expect(format_age(age_s)).toBe(text));
  it.each([
    [85.2, 'T−1:26'],
    [85, 'T−1:25'],
    [0.4, 'T−0:01'],
    [0, 'T+0:00'],
    [-3.4, 'T+0:03'],
  ])('countdown with %d s left is %s', (left_s, text) => expect(format_countdown(left_s)).toBe(text));
  // IEC 80000-13: k is 1000, not 1024.
  it.each([
    [999, '999 B'],
    [1000, '1.0 kB'],
    [4_812_000, '4.8 MB'],
    [3.2e9, '3.2 GB'],
  ])('%d bytes are %s', (n, text) => expect(format_size(n)).toBe(text));
  it('writes bytes with a prefix', () => {
    const text = [NaN, 812, 200_000_000, 4_294_901_760].map((n) =>
      format_value(column('free', 'By', { decimals: 0 }), n),
    );
    expect(text).toEqual(['–', '812 B', '200 MB', '4.3 GB']);
  });
  it('writes words for enumerations and marks unknown ones', () => {
    const fix = column('fix', '1', { enumeration: new Map([[3, '3D']]) });
    expect([format_value(fix, 3), format_value(fix, 7), format_value(fix, NaN)]).toEqual(['3D', '7?', '–']);
  });
  it('gives a 1-sigma two significant digits', () => {
    expect([0.34, 1.92, 24.6, 0.0312].map((sigma) => format_sigma('m', sigma))).toEqual(
      ['0.34', '1.9', '25', '0.03'].map((text) => `±\u202f${text}`),
    );
    expect([0.34, 0.0312, 0.0031].map((sigma) => format_sigma('s', sigma))).toEqual(
      ['0.34', '0.031', '0.003'].map((text) => `±\u202f${text}`),
    );
  });
  it.each([
    [7, 0, '007°'],
    [359.6, 0, '000°'],
    [-90, 0, '270°'],
    [84.26, 1, '084.3°'],
    [360, 1, '000.0°'],
    [NaN, 0, '–'],
  ])('bearing %d with %d decimals is %s', (deg, decimals, text) => expect(format_bearing(deg, decimals)).toBe(text));
  it.each([
    [393.4, 431.2, '393 to 431 m'],
    [5.6, 6.4, '6 m'],
    [-0.4, 0.3, '0 m'],
    [NaN, 4, ''],
  ])('from %d to %d is "%s"', (low, high, text) => expect(format_interval(low, high, 'm')).toBe(text));
  it.each([
    [6.31, 'in 6.3 s'],
    [80, 'in 1 min 20 s'],
    [19.94, 'in 19.9 s'],
    [0.02, 'now'],
    [-3, 'now'],
    [NaN, ''],
  ])('%d s to go: %s', (t_s, text) => expect(format_to_go(t_s)).toBe(text));
  it.each([
    [0, '0\u00a0%'],
    [0.0004, 'less than 0.1\u00a0%'],
    [0.031, '3.1\u00a0%'],
    [0.414, '41\u00a0%'],
    [1, '100\u00a0%'],
    [NaN, ''],
  ])('fraction %d is %s', (fraction, text) => expect(format_fraction(fraction)).toBe(text));
  it.each([
    [60, '1 min'],
    [125, '2 min 05 s'],
    [7200, '2 h'],
    [42, '42 s'],
  ])('a span of %d s is %s', (t_s, text) => expect(format_span(t_s)).toBe(text));
});
