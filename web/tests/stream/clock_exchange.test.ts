/** The station's time over a line with delays: seeded, so that every run is the same. */
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';
import { ClockExchange } from '../../src/stream/clock_exchange';
import { page_now } from '../../src/stream/clocks';

const kAhead_s = 1234.5;

beforeEach(() => void vi.useFakeTimers());
afterEach(() => void vi.useRealTimers());

function randoms(seed: number): () => number {
  let state = seed;
  return () => (state = (state * 48271) % 2147483647) / 2147483647; // Park and Miller, CACM 31 (1988) 1192
}

interface Line {
  up_ms(): number;
  down_ms(): number;
}

/** Never the same delay twice. */
function queue_of(seed: number): () => number {
  const random = randoms(seed);
  return () => 2000 * random();
}

/** The offset that an exchange over this line finds, and the least round trip that it saw. */
function exchange(line: Line): { offset_s: number; least_ms: number; asked: number } {
  const seen = { offset_s: NaN, least_ms: Infinity, asked: 0 };
  const clock = new ClockExchange(
    (request) => {
      const [up, down] = [line.up_ms(), line.down_ms()];
      seen.asked++;
      seen.least_ms = Math.min(seen.least_ms, up + down);
      setTimeout(() => {
        const t_s = kAhead_s + page_now() / 1000;
        setTimeout(() => clock.answer(request, t_s), down);
      }, up);
      return true;
    },
    (offset_s) => (seen.offset_s = offset_s),
  );
  clock.begin();
  vi.advanceTimersByTime(60_000);
  return seen;
}

describe('an exchange of clocks', () => {
  it('finds the offset over a line that delays both ways alike, however long', () => {
    for (const delay_ms of [0, 5, 150, 700]) {
      const { offset_s, asked } = exchange({ up_ms: () => delay_ms, down_ms: () => delay_ms });
      expect(offset_s).toBeCloseTo(kAhead_s, 2);
      expect(asked).toBe(4);
    }
  });
  it('takes the exchange with the least round trip, and errs by no more than half of it', () => {
    for (let seed = 1; seed <= 50; seed++) {
      const random = randoms(seed);
      const queue = (): number => 20 + 400 * random() ** 3;
      const { offset_s, least_ms } = exchange({ up_ms: queue, down_ms: queue });
      expect(Math.abs(offset_s - kAhead_s)).toBeLessThanOrEqual(least_ms / 2000 + 0.002);
    }
  });
  it('goes on while it cannot tell that the least round trip met no queue', () => {
    const held = [90, 160, 240, 120, 60];
    const { offset_s, asked } = exchange({ up_ms: () => 150, down_ms: () => 150 + (held.shift() ?? 0) });
    expect(offset_s).toBeCloseTo(kAhead_s, 2);
    expect(asked).toBe(9);
    expect(exchange({ up_ms: () => 150, down_ms: queue_of(3) }).asked).toBe(12);
  });
  it('is content with those that came when an answer is lost, and finds nothing where none came', () => {
    const answers = [10, 10, Infinity];
    const lost = exchange({ up_ms: () => 10, down_ms: () => Math.min(answers.shift() ?? 0, 1e9) });
    expect(lost.offset_s).toBeCloseTo(kAhead_s, 2);
    expect(exchange({ up_ms: () => 1e9, down_ms: () => 0 }).offset_s).toBeNaN();
  });
  it('ignores an answer that nobody waits for', () => {
    let found = NaN;
    const clock = new ClockExchange(
      () => true,
      (offset_s) => (found = offset_s),
    );
    clock.answer(1, 5);
    clock.begin();
    clock.answer(7, 5);
    clock.answer(NaN, 5);
    vi.advanceTimersByTime(60_000);
    expect(found).toBeNaN();
  });
});
