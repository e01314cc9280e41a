/** A procedure at the cursor, from its events. */
import { expect, it } from 'vitest';
import { not_begun, run_at, under_way } from '../../src/checks/run';
import type { TapeEvent } from '../../src/stream/messages';
import { description, event, replay_at } from '../support/builders';
import { procedure, step } from '../support/ground';

const steps = procedure('p', [step('a'), step('b', { kind: 'hold' }), step('c')]);
let ids = 0;
const happened = (t_s: number, word: string, data: Record<string, unknown>): TapeEvent =>
  event(++ids, t_s, 'procedure', word, { data: { procedure: 'p', ...data } });
const begun = happened(10, 'procedure_begun', { by: 'RK', run: 3 });
const a_done = happened(20, 'step_done', { step: 'a', by: 'RK', note: 'ok' });
const b_held = happened(25, 'step_held', { step: 'b', reasons: ['Battery fails'] });
const b_waived = happened(30, 'step_waived', { step: 'b', by: 'LM', note: 'no camera' });
const a_again = happened(40, 'step_repeated', { step: 'a', by: 'RK', note: '' });
const ended = happened(50, 'procedure_ended', { by: 'RK', verdict: 'incomplete' });
const all = [begun, a_done, b_held, b_waived, a_again, ended];

const at = (t_s: number) => run_at(replay_at(t_s, description([]), {}, all), 0, [steps]);
const states = (t_s: number) => at(t_s)?.steps.map((row) => row.state);

it.each([
  [15, ['under_way', 'ahead', 'ahead']],
  [22, ['done', 'under_way', 'ahead']],
  [35, ['done', 'waived', 'under_way']],
  [45, ['under_way', 'waived', 'ahead']],
  [55, ['ahead', 'waived', 'ahead']],
])('at %d s its steps are %j', (t_s, expected) => expect(states(t_s)).toEqual(expected));

it('is nobody’s before it is begun', () => expect(at(5)).toBeUndefined());
it('knows who began it and which run it is', () => expect(at(15)).toMatchObject({ by: 'RK', number: 3, begun_s: 10 }));
it('says why a hold was not let go', () => expect(under_way(at(26)!)?.reasons).toEqual(['Battery fails']));
it('says who waived a step and why', () =>
  expect(at(35)?.steps[1]).toMatchObject({ by: 'LM', note: 'no camera', t_s: 30 }));
it('ends with a verdict, and nothing is under way then', () => {
  expect(at(55)).toMatchObject({ verdict: 'incomplete', ended_s: 50 });
  expect(under_way(at(55)!)).toBeUndefined();
});
it('has every step ahead before that', () =>
  expect(not_begun(steps).steps.map((row) => row.state)).toEqual(['ahead', 'ahead', 'ahead']));
it('of another vehicle is none of ours', () => {
  const other = all.map((one) => ({ ...one, vehicle: 1 }));
  expect(run_at(replay_at(22, description([]), {}, other), 0, [steps])).toBeUndefined();
});
