/** Checks at the cursor. */
import { describe, expect, it } from 'vitest';
import { figure_words, margin_words } from '../../src/checks/figures';
import { checks_at, tally_of, tightest } from '../../src/checks/rows';
import type { TapeEvent } from '../../src/stream/messages';
import { column, description, event, replay_at } from '../support/builders';
import { cells, check, check_table } from '../support/ground';

const kTable = 'procedure/p';
const about = description([
  check_table(kTable, { lid_off: ['s', 4], battery: ['V', 2], seen: ['1', 0], shock: ['m/s2', 0] }),
]);
const rows = {
  [`v/${kTable}`]: {
    ...cells('lid_off', 'holds', 0.0186, 0.0114),
    ...cells('battery', 'fails', 7.1, -0.3),
    ...cells('seen', 'waits'),
    ...cells('shock', 'holds', 133, 24),
  },
};
const checks = [
  check('lid_off', { room: 0.03 }),
  check('battery'),
  check('seen', { statement: true }),
  check('shock', { severity: 'should' }),
  check('later'),
];

describe('a check', () => {
  const list = checks_at(replay_at(60, about, rows), 0, kTable, checks);
  const row = (id: string) => list.rows.find((one) => one.check.id === id);

  it('has what was measured, and its margin in the same unit', () =>
    expect(row('lid_off')).toMatchObject({
      state: 'holds',
      value: 0.0186,
      measured: '18.6\u00a0ms',
      margin: '11.4\u00a0ms',
    }));
  it('is drawn as the part of its room that is left', () => expect(row('lid_off')?.part).toBeCloseTo(0.38, 6));
  it('is drawn against what was measured where no room is given', () =>
    expect(row('shock')?.part).toBeCloseTo(24 / 157, 6));
  it('says how far it is beyond its limit', () =>
    expect(row('battery')).toMatchObject({ state: 'fails', margin: '0.30\u00a0V', part: 0 }));
  it('waits where the table does not know it', () =>
    expect(row('later')).toMatchObject({ state: 'waits', measured: '–', margin: '' }));
  it('counts', () => {
    const tally = tally_of(list.rows);
    expect(tally).toMatchObject({ all: 5, hold: 2, wait: 2, fail: 1 });
    expect(tally.in_the_way.map((one) => one.check.id)).toEqual(['battery', 'seen', 'later']);
  });
  it('with the least of its room left is found', () => expect(tightest(list.rows)?.check.id).toBe('shock'));
  it('that a person confirms has no margin', () => {
    const confirmed = { [`v/${kTable}`]: { ...rows[`v/${kTable}`], ...cells('seen', 'holds', 1, 0) } };
    const all = checks_at(replay_at(60, about, confirmed), 0, kTable, checks).rows;
    expect(all.find((one) => one.check.id === 'seen')).toMatchObject({ state: 'holds', margin: '', part: NaN });
    expect(tightest(all)?.check.id).toBe('shock');
  });
});

it('takes nothing from before its procedure was begun', () => {
  const said = event(1, 20, 'procedure', 'statement', { data: { check: 'seen', holds: true, by: 'RK' } });
  const tape = replay_at(60, about, rows, [said]);
  expect(checks_at(tape, 0, kTable, checks, 55).rows.map((row) => row.state)).toEqual(Array(5).fill('waits'));
  expect(checks_at(tape, 0, kTable, checks, 55).rows[2]?.measured).toBe('–');
  expect(checks_at(tape, 0, kTable, checks, 10).rows[2]?.measured).toBe('yes, RK');
});

it('takes no word from after the cursor', () => {
  const said = event(1, 70, 'procedure', 'statement', { data: { check: 'seen', holds: true, by: 'RK' } });
  expect(checks_at(replay_at(60, about, rows, [said]), 0, kTable, checks).rows[2]?.measured).toBe('–');
});

it.each([
  ['s', 0.0186, 4, '18.6\u00a0ms'],
  ['s', 31, 0, '31\u00a0s'],
  ['s', 1860, 0, '31\u00a0min'],
  ['s', 0, 3, '0.000\u00a0s'],
  ['d', 1, 0, '1\u00a0day'],
  ['d', 7, 0, '7\u00a0days'],
  ['K', 293.15, 1, '20.0\u00a0°C'],
  ['d', 0.25, 1, '6\u00a0h'],
  ['d', 0.01, 1, '14\u00a0min'],
  ['{fraction}', 0.96, 2, '96\u00a0%'],
  ['{fraction}', 0.0123, 3, '1.2\u00a0%'],
  ['{fraction}', 0.0004, 3, 'less than 0.1\u00a0%'],
  ['{fraction}', 0, 3, '0\u00a0%'],
  ['1', 11, 0, '11'],
  ['deg', 4, 0, '4°'],
  // π rad are 180°, by definition of the degree (SI Brochure, 9th edition, table 8)
  ['rad/s', Math.PI, 3, '180\u00a0°/s'],
  ['rad/s', 0.05, 3, '2.9\u00a0°/s'],
  ['rad/s', 0.002, 4, '0.11\u00a0°/s'],
  ['V', NaN, 2, '–'],
])('%s: %d is read as %s', (unit, value, decimals, text) =>
  expect(figure_words(column('x', unit, { decimals }), value)).toBe(text),
);

it('a margin of a turn rate is in degrees per second as the rate is', () =>
  expect(margin_words(column('x', 'rad/s', { decimals: 3 }), Math.PI / 4, Math.PI)).toBe('45\u00a0°/s'));

it('a margin of a temperature is a difference', () =>
  expect(margin_words(column('x', 'K', { decimals: 1 }), 5, 293.15)).toBe('5.0\u00a0°C'));

describe('the reason of a check', () => {
  const decided = (
    id: number,
    t_s: number,
    state: string,
    why: string,
    of: Record<string, unknown> = { procedure: 'p' },
  ) => event(id, t_s, 'procedure', 'check_decided', { data: { ...of, check: 'battery', state, why } });
  const reason = (...events: TapeEvent[]) =>
    checks_at(replay_at(60, about, rows, events), 0, kTable, checks, 10).rows[1]?.reason;

  it('is the newest that the station has said', () =>
    expect(reason(decided(1, 20, 'fails', 'one'), decided(2, 30, 'fails', 'another'))).toBe('another'));
  it.each([
    ['for another state', decided(1, 20, 'waits', 'older than 3 s')],
    ['after the cursor', decided(1, 70, 'fails', 'one')],
    ['before the procedure was begun', decided(1, 5, 'fails', 'one')],
    ['in another procedure', decided(1, 20, 'fails', 'one', { procedure: 'q' })],
    ['on the readiness board', decided(1, 20, 'fails', 'one', {})],
  ])('is none that it said %s', (_, said) => expect(reason(said)).toBe(''));
  it('of what a person confirms is what they said', () => {
    const said = event(1, 20, 'procedure', 'check_decided', {
      data: { procedure: 'p', check: 'seen', state: 'waits', why: 'nobody has confirmed it yet' },
    });
    expect(checks_at(replay_at(60, about, rows, [said]), 0, kTable, checks).rows[2]?.reason).toBe('');
  });
});
