/** What the band says of a ground test. */
import { expect, it } from 'vitest';
import { not_begun, type Run } from '../../src/checks/run';
import { tally_of, type CheckRow } from '../../src/checks/rows';
import { list_words, test_says, verdict_words } from '../../src/test/wording';
import { check, procedure, step } from '../support/ground';

const run: Run = { ...not_begun(procedure('p', [step('a', { title: 'Arm' }), step('b')])), number: 3, begun_s: 10 };
const row = (id: string, state: CheckRow['state'], part = NaN): CheckRow => ({
  check: check(id, { title: id }),
  state,
  value: NaN,
  measured: '',
  margin: '24 m/s²',
  part,
  note: '',
  reason: '',
});
const says = (rows: readonly CheckRow[]) => test_says(run, run.steps[0], rows, tally_of(rows));

it('says that there is none', () =>
  expect(test_says(undefined, undefined, [], tally_of([])).text).toBe('No test is under way.'));
it('says the step while checks wait', () =>
  expect(says([row('Shock', 'holds', 0.2), row('Lid off', 'waits')]).text).toBe(
    'Separation test 3. Step 1 of 2: Arm.',
  ));
it('says the verdict once every check is decided, with the least margin', () =>
  expect(says([row('Shock', 'holds', 0.2), row('Lid off', 'holds', 0.4)])).toMatchObject({
    text: 'Separation test 3. 2 of 2 good. Least margin: shock, 24 m/s².',
    level: 'note',
  }));
it('is a caution when a must-check fails, and heard again when another does', () => {
  const one = says([row('Shock', 'fails'), row('Lid off', 'holds', 0.4)]);
  expect(one).toMatchObject({ text: 'Separation test 3. Shock fails. Step 1 of 2: Arm.', level: 'caution' });
  expect(says([row('Shock', 'fails'), row('Lid off', 'fails')]).form).not.toBe(one.form);
});
it('never says a verdict without the steps that were waived', () => {
  const waived: Run = { ...run, steps: run.steps.map((each, i) => (i === 0 ? { ...each, state: 'waived' } : each)) };
  const holds = [row('Shock', 'holds', 0.2)];
  expect(test_says(waived, waived.steps[1], holds, tally_of(holds)).text).toContain('1 of 1 good, waived: Arm.');
  expect(verdict_words(tally_of(holds), waived)).toBe('Verdict: 1 of 1 good, waived: Arm');
  expect(test_says({ ...waived, ended_s: 20 }, undefined, [], tally_of([])).text).toContain('Ended, waived: Arm.');
});
it.each([
  [['Lid off'], 'Lid off'],
  [['Lid off', 'Shock', 'GNSS'], 'Lid off, shock and GNSS'],
])('lists %j', (titles, text) => expect(list_words(titles)).toBe(text));
