/** When strips are painted, on a page whose frames and clock the test makes. */
import { beforeEach, describe, expect, it, vi } from 'vitest';
import type { Painter } from '../../../src/draw/strip/queue';

const kFrame_ms = 16;

let now_ms = 0;
let rows = 0;
let waiting: ((now_ms: number) => void)[] = [];

beforeEach(() => {
  vi.resetModules();
  now_ms = 0;
  waiting = [];
  vi.stubGlobal('window', { innerWidth: 1366 });
  vi.stubGlobal('requestAnimationFrame', (draw: (now_ms: number) => void) => waiting.push(draw));
  vi.spyOn(performance, 'now').mockImplementation(() => now_ms);
  vi.spyOn(Date, 'now').mockImplementation(() => now_ms);
});

function frame(): void {
  now_ms += kFrame_ms;
  const drawers = waiting;
  waiting = [];
  for (const draw of drawers) draw(now_ms);
}

/** Wants to be painted in every frame; each painting takes so long. */
function strip(takes_ms: number): Painter & { painted: number } {
  const one = {
    painted: 0,
    wants: () => true,
    news: () => rows,
    paint: () => {
      one.painted++;
      now_ms += takes_ms;
    },
  };
  return one;
}

describe('strips that are painted together', () => {
  it.each([
    [100, 300],
    [5000, 500],
  ])('rest after a round that took long, but never for long: %d ms, %d ms', async (takes_ms, rests_ms) => {
    const { paint_together } = await import('../../../src/draw/strip/queue');
    const one = strip(takes_ms);
    paint_together(one);
    frame();
    const painted_ms = now_ms;
    while (one.painted === 1) frame();
    const rested_ms = now_ms - takes_ms - painted_ms;
    expect(Math.abs(rested_ms - rests_ms)).toBeLessThanOrEqual(2 * kFrame_ms);
  });

  it('paint sooner when rows came, and wait their time when none did', async () => {
    const { paint_together } = await import('../../../src/draw/strip/queue');
    const one = strip(0);
    paint_together(one);
    frame();
    const until_painted_ms = (arrive: boolean): number => {
      const [before, from_ms] = [one.painted, now_ms];
      if (arrive) rows++;
      while (one.painted === before) frame();
      return now_ms - from_ms;
    };
    expect([until_painted_ms(false), until_painted_ms(true)]).toEqual([4 * kFrame_ms, 2 * kFrame_ms]);
  });

  it('paint a new one in the next frame, while the others pause', async () => {
    const { paint_together } = await import('../../../src/draw/strip/queue');
    const others = [strip(40), strip(40)];
    for (const one of others) paint_together(one);
    frame();
    frame();
    const before = others.map((one) => one.painted);
    const fresh = strip(1);
    paint_together(fresh);
    frame();
    expect([fresh.painted, ...others.map((one) => one.painted)]).toEqual([1, ...before]);
  });
});
