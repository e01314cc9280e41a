/** The replay of a flight: what one can jump to, loops, and what a follower does. */
import { describe, expect, it } from 'vitest';
import { clock_words, jumps_of, loop_seek } from '../../src/flights/replay/jumps';
import { next_step, say_words } from '../../src/flights/replay/led';
import type { Led } from '../../src/stream/led';
import type { TapeEvent } from '../../src/stream/messages';

const event = (id: number, kind: string, name: string, t_s: number, vehicle = 0): TapeEvent => ({
  id,
  t_s,
  t_found_s: t_s,
  t_sigma_s: 0,
  kind,
  level: 'note',
  vehicle,
  key: '',
  event: name,
  text: name,
  advice: '',
  data: {},
});

describe('jumps', () => {
  const events = [
    event(1, 'flight_event', 'liftoff', 10),
    event(2, 'phase', 'phase_began', 10),
    event(3, 'sentence', 'sentence', 11),
    event(4, 'alert_raised', 'no_parachute', 20),
    event(5, 'alert_cleared', 'no_parachute', 21),
    event(6, 'marker', 'marker', 22, -1),
    event(7, 'flight_event', 'apogee', 15, 1),
    event(8, 'link_state', 'link_state', 23, -1),
    event(9, 'flight_event', 'touchdown', 90),
  ];
  it('lead to all that happened in the flight, in groups, ahead of the cursor too', () => {
    const groups = jumps_of(events, 0, 0, 80, 10);
    expect(groups.map(({ title, jumps }) => [title, jumps.map(({ id }) => id)])).toEqual([
      ['The flight', [1]],
      ['Bookmarks, markers, notes', [6]],
      ['Alerts', [4]],
      ['Everything else', [8]],
    ]);
  });
  it('say when, since liftoff', () => {
    expect(jumps_of(events, 0, 0, 80, 10)[2]?.jumps[0]?.words).toBe('T+0:10.0 No_parachute');
    expect(clock_words(-5)).toBe('T\u22120:05.0');
  });
});

it.each([
  [29, true, undefined],
  [30, true, 20],
  [30, false, undefined],
  [12, true, 20],
])('a loop from 20 to 30 with the cursor at %d (playing: %s) seeks %s', (cursor_s, playing, to_s) => {
  expect(loop_seek({ from_s: 20, to_s: 30 }, cursor_s, playing)).toBe(to_s);
});

describe('a follower', () => {
  const led = (more: Partial<Led> = {}): Led => ({
    recording: 'r',
    t_s: 50,
    playing: false,
    rate: 1,
    by: 'Ada',
    ...more,
  });
  it.each([
    ['goes where the leader stands', led(), 0, { cursor_s: 10, playing: false, rate: 1 }, 'seek'],
    ['stays where the leader stands', led(), 9, { cursor_s: 50, playing: false, rate: 1 }, undefined],
    ['plays when the leader does', led({ playing: true }), 0, { cursor_s: 50, playing: false, rate: 1 }, 'play'],
    ['takes the leader’s rate', led({ playing: true, rate: 10 }), 0, { cursor_s: 50, playing: true, rate: 1 }, 'play'],
    ['plays along', led({ playing: true }), 4, { cursor_s: 54.3, playing: true, rate: 1 }, undefined],
    ['catches up', led({ playing: true }), 4, { cursor_s: 51, playing: true, rate: 1 }, 'seek'],
    ['stops when the leader does', led(), 1, { cursor_s: 51, playing: true, rate: 1 }, 'pause'],
  ] as const)('%s', (_, leader, since_s, own, what) => {
    expect(next_step(leader, since_s, own)?.type).toBe(what);
  });
});

it('a leader who plays says so once, one who stands says where', () => {
  expect(say_words({ cursor_s: 12.344, playing: true, rate: 2 })).toBe(
    say_words({ cursor_s: 99, playing: true, rate: 2 }),
  );
  expect(say_words({ cursor_s: 12.34, playing: false, rate: 1 })).not.toBe(
    say_words({ cursor_s: 12.35, playing: false, rate: 1 }),
  );
});
