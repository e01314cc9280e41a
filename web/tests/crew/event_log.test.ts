/** The event log: each thing said once. */
import { expect, it } from 'vitest';
import { select_events } from '../../src/crew/events/event_log';
import { description, event, replay_at } from '../support/builders';

const listed = (...events: ReturnType<typeof event>[]) =>
  select_events(replay_at(60, description([]), {}, events), 0).map((row) => row.event.id);

it('lists what a procedure decided, and leaves to the board what the board finds', () => {
  const decided = (id: number, data: Record<string, unknown>) => event(id, 10, 'procedure', 'check_decided', { data });
  expect(listed(decided(1, { check: 'a' }), decided(2, { check: 'a', procedure: 'p' }))).toEqual([2]);
});

it('lists nothing from after the cursor', () =>
  expect(listed(event(1, 10, 'marker', 'marker'), event(2, 70, 'marker', 'marker'))).toEqual([1]));
