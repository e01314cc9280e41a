import { describe, expect, it } from 'vitest';
import { Tape } from '../../src/tape/tape';
import { format_since, zero_of } from '../../src/tape/zero';
import { description, event } from '../support/builders';

function at(cursor_s: number, ...happened: [number, string][]): Tape {
  const about = description([]);
  // 2026-05-17T14:32:05Z
  const tape = new Tape({ ...about, recording: { ...about.recording, utc_start_ms: 1779028325000 } }, 'live', []);
  happened.forEach(([t_s, word], i) => tape.log.add(event(i, t_s, 'flight_event', word)));
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
    ['count from liftoff', at(30, [12.5, 'liftoff']), 15, 1, '+0:02.5'],
    ['count down to a liftoff that is known', at(5, [12.5, 'liftoff']), 5, 1, '−0:07.5'],
    ['say the time of day on the rail again', at(60, [12.5, 'liftoff'], [50, 'ready_again']), 55, 1, '14:33:00.0'],
    ['say the time of day when the recording has events of other words', at(30, [12.5, 'lift_off']), 30, 0, '14:32:35'],
  ])('%s', (_, tape, t_s, decimals, text) => expect(format_since(zero_of(tape, 0), t_s, decimals)).toBe(text));
});
