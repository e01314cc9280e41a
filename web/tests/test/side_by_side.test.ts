import { expect, test } from 'vitest';
import { relative_difference, spread_of } from '../../src/test/side_by_side';

test('mean and sample standard deviation are those of the e-Handbook', () => {
  // NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.6: sd = sqrt(sum (y - mean)^2 / (n - 1)), worked out by hand.
  const found = spread_of([18.1, NaN, 18.4, 18.7, 18.8]);
  expect(found.count).toBe(4);
  expect(found.mean).toBeCloseTo(18.5, 12);
  expect(found.sd).toBeCloseTo(Math.sqrt(0.3 / 3), 12);
});

test('one test alone has no spread, and none has no mean', () => {
  expect(spread_of([3])).toEqual({ count: 1, mean: 3, sd: NaN });
  expect(spread_of([NaN]).mean).toBeNaN();
});

test('parts that differ by four in a thousand do so whichever comes first', () => {
  expect(relative_difference(10.02, 9.98)).toBeCloseTo(0.004, 12);
  expect(relative_difference(9.98, 10.02)).toBeCloseTo(-0.004, 12);
  expect(relative_difference(-9.98, -10.02)).toBeCloseTo(0.004, 12);
});
