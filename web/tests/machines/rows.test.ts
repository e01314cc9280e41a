/** Machines from their dictionaries. */
import { describe, expect, it } from 'vitest';
import { groups_of, machines_of, ruler_of } from '../../src/machines/rows';
import { column, description, replay_at, table, words } from '../support/builders';

const limit = (side: 'low' | 'high', level: 'caution' | 'warning', value: number) => ({ side, level, value });
const coolant = column('coolant', 'K', {
  title: 'Coolant',
  limits: [limit('high', 'caution', 368), limit('high', 'warning', 373)],
});
const oil = column('oil', 'Pa', {
  limits: [limit('low', 'caution', 150000), limit('low', 'warning', 100000)],
  decimals: 0,
});
const about = description(
  [
    table('boat/engine', 'packet', [coolant, oil, words('state', 'Engine', 'stopped', 'running')], {
      vehicle: 1,
      period_s: 1,
    }),
    table('mast/wind', 'packet', [column('wind_from', 'deg', { role: 'wind_from', decimals: 0 })], {
      vehicle: 2,
      period_s: 1,
    }),
  ],
  {
    vehicles: [
      { name: 'v', title: 'V', rocket: true, parachutes: [], more: {} },
      { name: 'boat', title: 'Boat', rocket: false, parachutes: [], more: {} },
      { name: 'mast', title: 'Mast', rocket: false, parachutes: [], more: {} },
    ],
  },
);
const rows = { 'boat/engine': { coolant: 370, oil: 210000, state: 1 }, 'mast/wind': { wind_from: 225 } };
const row = (vehicle: number, id: string, cursor_s = 51) =>
  groups_of(replay_at(cursor_s, about, rows), vehicle)
    .flatMap((group) => group.rows)
    .find((one) => one.id.endsWith(id));

describe('a channel', () => {
  it('is beyond the most urgent of the limits that it passes', () => {
    expect(row(1, 'coolant')).toMatchObject({ text: '96.9', unit: '°C', beyond: 'caution' });
    expect(row(1, 'oil')?.beyond).toBeUndefined();
  });
  it('is old when rows stay away', () =>
    expect([row(1, 'coolant')?.old, row(1, 'coolant', 60)?.old]).toEqual([false, true]));
  it('of words has neither ruler nor line', () =>
    expect(row(1, 'state')).toMatchObject({ text: 'running', ruler: undefined, draws: false }));
  it('of a place is told to a metre, without a ruler', () => {
    const told = description(
      [
        table('boat/fix', 'packet', [column('latitude', 'deg', { role: 'latitude', decimals: 6, range: [-90, 90] })], {
          vehicle: 1,
        }),
      ],
      { vehicles: about.vehicles },
    );
    const [group] = groups_of(replay_at(51, told, { 'boat/fix': { latitude: -21.384562 } }), 1);
    expect(group?.rows[0]).toMatchObject({ text: '−21.38456', ruler: undefined, draws: false });
  });
  it('of a direction says it in words', () => expect(row(2, 'wind_from')?.says).toBe('from the south-west'));
});

describe('a ruler', () => {
  it('reaches as far as the value is valid, limits in it', () => {
    const ruler = ruler_of({ ...coolant, range: [263.15, 393.15] }, 350);
    expect([ruler?.low, ruler?.high]).toEqual(['−10', '120']);
    expect(ruler?.marks.map((mark) => mark.text)).toEqual(['94.9', '99.9']);
    expect(ruler?.part).toBeLessThan(ruler!.marks[0]!.part);
  });
  it('reaches somewhat beyond its limits where nothing says what is valid, wherever the value is', () => {
    const ends = [1e3, 250000].map((value) => [ruler_of(oil, value)?.low, ruler_of(oil, value)?.high]);
    expect(ends).toEqual([
      ['750', '1750'],
      ['750', '1750'],
    ]);
  });
  it('of bytes begins at none, and writes them with a prefix', () => {
    const limits = [200e6, 50e6].map((value) => ({ side: 'low', value, level: 'caution' }) as const);
    const ruler = ruler_of(column('free', 'By', { limits, range: null, decimals: 0 }), 150e6);
    expect([ruler?.low, ...(ruler?.marks ?? []).map((mark) => mark.text)]).toEqual(['0 B', '200 MB', '50.0 MB']);
  });
  it.each([1e3, 9e6])('keeps a value of %d inside its ends', (value) => {
    const part = ruler_of(oil, value)?.part ?? NaN;
    expect(part >= 0 && part <= 1).toBe(true);
  });
  it('is as wide as what is valid where there are no limits', () =>
    expect(ruler_of(column('fuel', '%', { range: [0, 100], decimals: 0 }), 74)).toMatchObject({
      low: '0',
      high: '100',
      part: 0.74,
    }));
  it('reaches half of what is shown beyond a single limit, in degrees Celsius too', () => {
    const hot = ruler_of(column('air', 'K', { limits: [limit('high', 'caution', 308.15)], decimals: 1 }), 297);
    expect([hot?.low, hot?.high]).toEqual(['17.5', '52.5']);
  });
  it('is not drawn for what has neither', () => expect(ruler_of(column('x'), 1)).toBeUndefined());
});

it('of what is worked out only that is shown which belongs to a group of the dictionary, under what was measured', () => {
  const of_boat = (name: string, kind: 'packet' | 'estimate' | 'link', ...columns: ReturnType<typeof column>[]) =>
    table(name, kind, columns, { vehicle: 1, period_s: 1 });
  const told = description(
    [
      of_boat('boat/estimate/vertical', 'estimate', column('nis', '1', { group: 'Health' })),
      of_boat('boat/estimate/engine', 'estimate', column('hours', 'h', { group: 'Engine' })),
      of_boat('link/boat', 'link', column('frames_good', '1', { group: 'Link' })),
      of_boat(
        'boat/engine',
        'packet',
        column('coolant', 'K', { group: 'Engine' }),
        column('raw', '1', { group: 'engine' }),
      ),
    ],
    { vehicles: about.vehicles },
  );
  const shown = groups_of(replay_at(51, told, {}), 1).map((group) => [group.title, group.rows.map((one) => one.id)]);
  expect(shown).toEqual([['Engine', ['boat/engine/coolant', 'boat/estimate/engine/hours']]]);
});

it('a dictionary without groups shows its packets', () => {
  const plain = description(
    [table('mast/wind', 'packet', [column('speed', 'm/s', { group: 'wind' })], { vehicle: 2 })],
    {
      vehicles: about.vehicles,
    },
  );
  expect(groups_of(replay_at(51, plain, {}), 2).map((group) => group.title)).toEqual(['wind']);
});

it('machines are what flies nothing, else the one that is looked at', () => {
  expect(machines_of(replay_at(51, about, {}), 0)).toEqual([1, 2]);
  expect(machines_of(replay_at(51, description([]), {}), 0)).toEqual([0]);
});
