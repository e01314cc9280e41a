/** A value shows no digit that its ± denies. */
import { describe, expect, it } from 'vitest';
import { rounded, rounded_number } from '../../src/text/rounding';
import { column } from '../support/builders';

const kNarrow = '\u202f';

describe('a number', () => {
  it.each([
    [612.34, 2.1, '612', '2'],
    [1107.9, 21, '1110', '20'],
    [1107.9, 0.81, '1107.9', '0.8'],
    [-24.31, 0.97, '\u221224', '1'],
    [9.812, 0.31, '9.8', '0.3'],
    [8.2432, 0.012, '8.24', '0.01'],
    [0.04, 0.2, '0.0', '0.2'],
    [5.5, 96, '0', '100'],
    [3.14159, 0.0002, '3.14', '0.01'],
  ])('%d ± %d is "%s ± %s"', (value, sigma, text, width) =>
    expect(rounded_number(value, sigma)).toEqual({ text, sigma: `±${kNarrow}${width}` }),
  );
  it.each([0, NaN, Infinity, -1])('with a ± of %d has none', (sigma) =>
    expect(rounded_number(7.126, sigma)).toEqual({ text: '7.13', sigma: '' }),
  );
  it('that is none is a dash', () => expect(rounded_number(NaN, 1)).toEqual({ text: '–', sigma: '' }));
});

describe('a value of a column', () => {
  it('is rounded as it is shown, in hectopascals', () =>
    expect(rounded(column('p', 'Pa', { decimals: 0 }), 101324.7, 11)).toEqual({
      text: '1013.2',
      sigma: `±${kNarrow}0.1`,
    }));
  it('has no more digits than its column', () =>
    expect(rounded(column('n', 'm', { decimals: 0 }), 11.4, 0.02)).toEqual({ text: '11', sigma: `±${kNarrow}1` }));
});
