import { expect, it } from 'vitest';
import { backoff_ms } from '../../src/stream/connection';

it('waits longer each time, but never more than five seconds', () => {
  expect([0, 1, 2, 3, 4, 5, 50].map(backoff_ms)).toEqual([250, 500, 1000, 2000, 4000, 5000, 5000]);
});
