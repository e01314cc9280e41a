/** How long the countdown has been held, and why. */
import { describe, expect, it } from 'vitest';
import type { TapeEvent } from '../../src/stream/messages';
import { EventLog } from '../../src/tape/events';
import { held_since_s } from '../../src/operator/hold';
import { event } from '../support/builders';

const step = (id: number, t_s: number, name: string, left_s?: number, reason?: unknown): TapeEvent =>
  event(id, t_s, 'countdown', name, {
    vehicle: -1,
    data: { ...(left_s === undefined ? {} : { left_s }), ...(reason === undefined ? {} : { reason }) },
  });

describe('the hold of the countdown', () => {
  const log = new EventLog();
  for (const one of [
    step(1, 10, 'countdown_runs', 600),
    step(2, 70, 'countdown_held', 540),
    step(3, 75, 'countdown_held', 540, 'smoke'), // held first, then why
    step(4, 90, 'countdown_held', 540, 'wind above its limit'),
    step(5, 100, 'countdown_runs', 540),
    step(6, 110, 'countdown_held', 530),
    step(7, 120, 'countdown_held', 300, 7), // set to another count; a number says nothing
    step(8, 130, 'countdown_off'),
    event(9, 131, 'flight_event', 'apogee'),
  ])
    log.add(one);
  it.each<[string, number, number, string?]>([
    ['is none before there is a countdown', 5, NaN],
    ['is none while it runs', 40, NaN],
    ['has no reason until one is said', 71, 70, ''],
    ['stays as old as it was when its reason is said', 80, 70, 'smoke'],
    ['has the newest reason', 95, 70, 'wind above its limit'],
    ['is over once it goes on', 105, NaN],
    ['does not take over the reason of the one before', 115, 110, ''],
    ['begins again at another count', 125, 120, ''],
    ['is none once the countdown is removed', 135, NaN],
  ])('%s', (_, at_s, since_s, why = '') => {
    expect(held_since_s(log, at_s)).toBe(since_s);
    expect(log.countdown_at(at_s)?.reason ?? '').toBe(why);
  });
});
