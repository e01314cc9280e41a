/** When a value beside a strip is old: by the one rule of every view, three periods of its source and 2 s at least. */
import { expect, it } from 'vitest';
import { strip_values } from '../../src/strips/strip_values';
import { strips_of } from '../../src/tape/strips';
import { column, description, event, replay_at, table } from '../support/builders';

const liftoff = event(1, 49, 'flight_event', 'liftoff');

it.each([
  ['a sensor that is fast', 'packet', 0.02, 51.9, false, false],
  ['a sensor that is fast and quiet', 'packet', 0.02, 52.1, false, true],
  ['one row a second', 'packet', 1, 52.9, true, false],
  ['one row a second, three missing', 'packet', 1, 53.1, true, true],
  ['whatever comes when it comes', 'packet', 0, 99, true, false],
  ['a prediction on the rail', 'estimate', 0.5, 62, false, false],
  ['a prediction in flight', 'estimate', 0.5, 52.1, true, true],
] as const)('%s', (_, kind, period_s, cursor_s, flies, old) => {
  const about = description([table('v/estimate/x', kind, [column('x')], { period_s })]);
  const tape = replay_at(cursor_s, about, { 'v/estimate/x': { x: 1 } }, flies ? [liftoff] : []);
  const strip = strips_of(about, 0)[0]?.strips[0];
  expect(strip && strip_values(tape, undefined, strip, NaN)[0]?.old).toBe(old);
});
