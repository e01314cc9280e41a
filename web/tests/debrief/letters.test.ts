/** Letters and lines of compared flights. */
import { expect, it } from 'vitest';
import { letter_of, style_of } from '../../src/debrief/letters';
import { value_at } from '../../src/debrief/value_at';

it.each([
  [0, 'A'],
  [25, 'Z'],
  [26, 'AA'],
  [27, 'AB'],
])('the flight at %d is %s', (place, letter) => {
  expect(letter_of(place)).toBe(letter);
});

it('no two of eight flights have one line', () => {
  const styles = Array.from({ length: 8 }, (_, i) => JSON.stringify(style_of(i)));
  expect(new Set(styles).size).toBe(8);
});

it.each([
  [0.5, 15],
  [0, 10],
  [2, NaN],
  [-1, NaN],
  [1.5, NaN],
])('a line at %d is %d', (at_s, value) => {
  expect(value_at([0, 1, 2], [10, 20, NaN], at_s)).toEqual(value);
});
