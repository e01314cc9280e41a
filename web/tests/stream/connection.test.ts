import { afterEach, expect, it, vi } from 'vitest';
import { backoff_ms, Connection } from '../../src/stream/connection';

afterEach(() => {
  vi.useRealTimers();
  vi.unstubAllGlobals();
});

it('waits longer each time, but never more than five seconds', () => {
  expect([0, 1, 2, 3, 4, 5, 50].map(backoff_ms)).toEqual([250, 500, 1000, 2000, 4000, 5000, 5000]);
});

it('sends the first of many requests at once, and of those that follow the newest, not too often', () => {
  vi.useFakeTimers();
  const sent: { at_ms: number; t_s: number }[] = [];
  const began_ms = Date.now();
  class Socket {
    static readonly OPEN = 1;
    readyState = Socket.OPEN;
    send(text: string): void {
      sent.push({ at_ms: Date.now() - began_ms, t_s: (JSON.parse(text) as { t_s: number }).t_s });
    }
  }
  vi.stubGlobal('WebSocket', Socket);
  vi.stubGlobal('window', { addEventListener: () => undefined });
  const nothing = (): void => undefined;
  const connection = new Connection('ws://station/api/stream', {
    on_state: nothing,
    on_message: nothing,
    on_block: nothing,
    on_tick: nothing,
    on_fault: nothing,
  });
  connection.start();
  for (const t_s of [1, 2, 3]) connection.send_latest({ t_s });
  expect(sent).toEqual([{ at_ms: 0, t_s: 1 }]);
  vi.advanceTimersByTime(60);
  connection.send_latest({ t_s: 4 });
  connection.send_latest({ t_s: 5 });
  vi.advanceTimersByTime(1000);
  connection.send_latest({ t_s: 6 });
  expect(sent).toEqual([
    { at_ms: 0, t_s: 1 },
    { at_ms: 50, t_s: 3 },
    { at_ms: 100, t_s: 5 },
    { at_ms: 1060, t_s: 6 },
  ]);
});
