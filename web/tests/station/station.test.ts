/** After a press on the tape of a replay the greatest figures come first, and nothing is drawn twice meanwhile. */
import { readFileSync } from 'node:fs';
import { afterEach, beforeEach, expect, it, vi } from 'vitest';
import type { station as Page } from '../../src/station/station.svelte';

type Answer = (t_s: number) => void;

const golden: unknown = JSON.parse(
  readFileSync(new URL('../../../tests/golden/stream/hello.json', import.meta.url), 'utf8'),
);
const kUsual_ms = 126;
let station: typeof Page;
let hear: (message: object) => void;
const answer: Answer = (t_s) =>
  hear({ type: 'replay', cursor_s: t_s, playing: false, rate: 1, t_end_s: 100, latest: [] });

beforeEach(async () => {
  vi.useFakeTimers();
  vi.resetModules();
  class Socket {
    static readonly OPEN = 1;
    readyState = Socket.OPEN;
    onmessage: ((message: { data: string }) => void) | undefined;
    constructor() {
      hear = (message) => this.onmessage?.({ data: JSON.stringify(message) });
    }
    send(): void {
      return;
    }
  }
  vi.stubGlobal(
    '$state',
    Object.assign((value: unknown) => value, { raw: (value: unknown) => value }),
  );
  vi.stubGlobal('WebSocket', Socket);
  vi.stubGlobal('location', { protocol: 'http:', host: 'station' });
  vi.stubGlobal('window', { addEventListener: () => undefined });
  vi.stubGlobal('fetch', () => new Promise(() => undefined));
  ({ station } = await import('../../src/station/station.svelte'));
  station.start();
  hear({ ...(golden as object), mode: 'replay', latest: [] });
  vi.advanceTimersByTime(3 * kUsual_ms);
});
afterEach(() => {
  vi.useRealTimers();
  vi.unstubAllGlobals();
});

const counts = (): { beat: number; figures: number } => ({ beat: station.beat, figures: station.figures });

it('looks at the whole tape eight times a second', () => {
  const { beat, figures } = counts();
  vi.advanceTimersByTime(4 * kUsual_ms);
  expect(counts()).toEqual({ beat: beat + 4, figures: figures + 4 });
});

it('looks at the figures alone when the answer to a jump is here, and at the rest after a frame', () => {
  const { beat, figures } = counts();
  station.seek(40);
  vi.advanceTimersByTime(kUsual_ms + 20); // the answer is slow: nothing says meanwhile that there are no values
  expect(counts()).toEqual({ beat, figures });
  answer(40);
  expect(counts()).toEqual({ beat, figures: figures + 1 });
  vi.advanceTimersByTime(40);
  expect(counts()).toEqual({ beat, figures: figures + 1 });
  vi.advanceTimersByTime(30);
  expect(counts()).toEqual({ beat: beat + 1, figures: figures + 2 });
});

it('says that there are no values when no answer comes', () => {
  const { beat } = counts();
  station.seek(40);
  vi.advanceTimersByTime(260);
  expect(station.beat).toBe(beat + 1);
});

it('shows the rest three times a second while a finger drags', () => {
  const { beat, figures } = counts();
  for (let t_s = 1; t_s <= 30; t_s++) {
    station.seek(t_s);
    vi.advanceTimersByTime(35);
    answer(t_s);
    vi.advanceTimersByTime(15);
  }
  expect(station.beat - beat).toBeGreaterThanOrEqual(4);
  expect(station.beat - beat).toBeLessThanOrEqual(6);
  expect(station.figures - figures).toBeGreaterThanOrEqual(30);
});
