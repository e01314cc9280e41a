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

it('says once that a link is lost: the alert says it with what to do', () => {
  const text = 'Link radio: no data: nothing came for 3 s';
  const state = event(1, 10, 'link_state', 'link_state', { text });
  const open = event(2, 9, 'link_state', 'link_state', { text: 'Link radio: open' });
  const alert = event(3, 10.1, 'alert_raised', 'link_lost', { text });
  expect(listed(open, state, alert)).toEqual([3, 2]);
  expect(listed(open, state)).toEqual([1, 2]);
});

it('says once that a link is open again: the end of the alert says it', () => {
  const text = 'Link radio: open';
  const state = event(1, 10, 'link_state', 'link_state', { text });
  expect(listed(state, event(2, 10, 'alert_cleared', 'link_lost', { text }))).toEqual([2]);
});

it('lists nothing from after the cursor', () =>
  expect(listed(event(1, 10, 'marker', 'marker'), event(2, 70, 'marker', 'marker'))).toEqual([1]));
