/** Procedures and readiness boards as the description brings them. */
import { expect, it } from 'vitest';
import { read_ground } from '../../src/stream/ground';

const check = {
  id: 'lid_off',
  title: 'Lid off',
  why: '',
  severity: 'must',
  required: '≤ 30 ms',
  most: 0.03,
  room: 0.03,
};
const step = { id: 'fire', kind: 'instruct', title: 'Fire', text: '', caution: 'Stand clear.', checks: ['lid_off'] };

it('reads a procedure with its steps and checks', () => {
  const value = { table: 'charge/drogue', column: 'lid_off' };
  const { procedures, readiness } = read_ground(
    { procedures: [{ id: 'p', title: 'P', steps: [step], checks: [{ ...check, value }] }], readiness: null },
    'v',
  );
  expect(procedures[0]?.steps[0]).toMatchObject({ kind: 'instruct', caution: 'Stand clear.', checks: ['lid_off'] });
  expect(procedures[0]?.checks[0]).toMatchObject({
    table: 'charge/drogue',
    column: 'lid_off',
    vehicle: '',
    least: NaN,
    most: 0.03,
    room: 0.03,
  });
  expect(readiness).toBeUndefined();
});

it('reads a board with its groups and positions', () => {
  const { readiness } = read_ground(
    { readiness: { groups: [{ title: 'Site', checks: [check] }], positions: [{ id: 'weather', title: 'Weather' }] } },
    'v',
  );
  expect(readiness?.groups[0]?.checks[0]?.id).toBe('lid_off');
  expect(readiness?.positions).toEqual([{ id: 'weather', title: 'Weather' }]);
});

it('has neither in a recording of an older station', () =>
  expect(read_ground({}, 'v')).toEqual({ procedures: [], readiness: undefined }));

it.each([
  [{ procedures: {} }, 'v/procedures: expected an array, got object'],
  [{ procedures: [{ id: 'p', steps: [{ ...step, kind: 'fire' }] }] }, 'v/procedures/0/steps/0/kind: expected one of'],
  [
    { procedures: [{ id: 'p', steps: [{ ...step, checks: [1] }] }] },
    'v/procedures/0/steps/0/checks/0: expected the id',
  ],
  [{ readiness: { groups: [{ checks: [{ ...check, severity: 'may' }] }] } }, 'v/readiness/groups/0/checks/0/severity'],
])('names the member that is wrong', (from, text) => expect(() => read_ground(from, 'v')).toThrow(text));
