import { describe, expect, it } from 'vitest';
import { Tape } from '../../src/tape/tape';
import { format_since, zero_of } from '../../src/tape/zero';
import { description, event } from '../support/builders';

function at(cursor_s: number, ...phases: [number, string][]): Tape {
  const about = description([]);
  // 2026-05-17T14:32:05Z
  const tape = new Tape({ ...about, recording: { ...about.recording, utc_start_ms: 1779028325000 } }, 'live', []);
  phases.forEach(([t_s, name], i) => tape.log.add(event(i, t_s, 'phase', `v/phase/${name}`)));
  tape.set_station_now(100);
  tape.set_cursor(cursor_s);
  return tape;
}

describe('clocks of axis and event log', () => {
  it.each<[string, Tape, number, number, string]>([
    ['say the time of day while there is no liftoff', at(5), 1.25, 1, '14:32:06.2'],
    ['say it in whole seconds where there is no room', at(5), 1.25, 0, '14:32:06'],
    ['say it past midnight', at(5), 34_080, 0, '00:00:05'],
    ['say it without losing a digit', at(5), 1.29, 2, '14:32:06.29'],
    ['count from liftoff', at(30, [0, 'on_the_rail'], [12.5, 'under_thrust']), 15, 1, '+0:02.5'],
    ['count down to a liftoff that is known', at(5, [0, 'on_the_rail'], [12.5, 'under_thrust']), 5, 1, '−0:07.5'],
    [
      'say the time of day on the rail again',
      at(60, [0, 'on_the_rail'], [12.5, 'under_thrust'], [50, 'on_the_rail']),
      55,
      1,
      '14:33:00.0',
    ],
  ])('%s', (_, tape, t_s, decimals, text) => expect(format_since(zero_of(tape, 0), t_s, decimals)).toBe(text));
});
