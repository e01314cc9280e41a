/** Requests to the HTTP API, with a station that answers as told. */
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';
import { end_session, fetch_events, post_note } from '../../src/stream/api';

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

describe('a list in pages', () => {
  const page = (texts: readonly string[], next: number | null) => (): Response =>
    Response.json({
      events: texts.map((text, i) => ({ id: i, t_s: 1, kind: 'note', level: 'note', vehicle: -1, key: 'note', text })),
      next,
    });
  it('is read to its end', async () => {
    const asked = station(page(['a', 'b'], 7), page(['c'], 12), page([], null));
    expect((await fetch_events('r')).map((event) => event.text)).toEqual(['a', 'b', 'c']);
    expect(asked.mock.calls.map(([path]) => path as string)).toEqual([
      '/api/recordings/r/events',
      '/api/recordings/r/events?after=7',
      '/api/recordings/r/events?after=12',
    ]);
  });
});

describe('logging out', () => {
  it('ends the session at the server', async () => {
    const asked = station(() => Response.json({ role: 'viewer' }));
    await end_session();
    expect(asked).toHaveBeenCalledWith('/api/session', expect.objectContaining({ method: 'DELETE' }));
  });
});
