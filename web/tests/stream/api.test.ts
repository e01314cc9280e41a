/** Requests to the HTTP API, with a station that answers as told. */
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';
import { fetch_events, post_note } from '../../src/stream/api';

const not_ready = (): Response =>
  Response.json({ error: 'not on the disk yet; try again in a moment' }, { status: 503 });
const no_events = (): Response => Response.json({ events: [] });

beforeEach(() => {
  vi.useFakeTimers();
});
afterEach(() => {
  vi.useRealTimers();
  vi.unstubAllGlobals();
});

function station(...answers: (() => Response)[]): ReturnType<typeof vi.fn> {
  const asked = vi.fn(() => Promise.resolve((answers.length > 1 ? answers.shift() : answers[0])!()));
  vi.stubGlobal('fetch', asked);
  return asked;
}

describe('a station that is not ready', () => {
  it('is asked again until it answers', async () => {
    const asked = station(not_ready, not_ready, no_events);
    const events = fetch_events('live');
    await vi.runAllTimersAsync();
    expect(await events).toEqual([]);
    expect(asked).toHaveBeenCalledTimes(3);
  });
  it('is given up after a while, and its sentence is passed on', async () => {
    station(not_ready);
    const refused = expect(fetch_events('live')).rejects.toThrow('not on the disk yet');
    await vi.runAllTimersAsync();
    await refused;
  });
  it('is told once only what changes something', async () => {
    const asked = station(not_ready);
    await expect(post_note('a note')).rejects.toThrow('not on the disk yet');
    expect(asked).toHaveBeenCalledTimes(1);
  });
});
