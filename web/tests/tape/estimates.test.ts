/**
 * The names by which the page asks for estimates and links, against the golden hello: a table or column that is renamed
 * there fails here, and a name that the page does not ask for in estimates.ts cannot slip in elsewhere.
 */
import { readdirSync, readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { health_rank, kHealthWords } from '../../src/crew/estimates/health';
import { kTints } from '../../src/draw/palette';
import { read_message } from '../../src/stream/messages';
import {
  estimate,
  kEstimators,
  kModeWords,
  kLikeliestWords,
  kTerrainFlat,
  type ColumnOf,
  type Estimator,
} from '../../src/tape/estimates';
import { is_running_clock } from '../../src/tape/estimate_strips';
import { heard_fraction, kLinkColumns, last_packet_s, link_table, newest_link } from '../../src/tape/links';
import { Tape } from '../../src/tape/tape';
import { column, description, pair, replay_at, table, words } from '../support/builders';

const hello = read_message(readFileSync(new URL('../../../tests/golden/stream/hello.json', import.meta.url), 'utf8'));
if (hello.type !== 'hello') throw new Error('hello.json is not a hello');
const golden = new Tape(hello.description, 'replay', [], hello.roles);
const names = Object.entries(kEstimators).flatMap(([estimator, columns]) =>
  columns.map((name): [Estimator, string] => [estimator as Estimator, name]),
);

describe('the golden hello', () => {
  it.each(names)('has %s/%s with a title', (estimator, name) => {
    const found = estimate(golden, 0, estimator).column(name as ColumnOf<Estimator>);
    expect(found?.title).toMatch(/\S/);
    expect(found?.title).not.toBe(name);
  });
  it.each(kLinkColumns)("has the link's column %s", (name) =>
    expect(link_table(golden.description, 'radio')?.columns.map((c) => c.name)).toContain(name),
  );
  it.each([
    ['vertical', 'health', [...kHealthWords]],
    ['navigation', 'fix_health', [...kHealthWords]],
    ['navigation', 'height_health', [...kHealthWords]],
    ['navigation', 'mode', Object.values(kModeWords)],
    ['landing', 'terrain', [kTerrainFlat]],
    ['landing', 'likeliest', Object.values(kLikeliestWords)],
    ['phase', 'phase', Object.keys(kTints)],
  ] as const)('has the words of %s/%s on which the page acts', (estimator, name, known) => {
    const all =
      estimate(golden, 0, estimator)
        .column(name as ColumnOf<typeof estimator>)
        ?.enumeration.values() ?? [];
    expect([...all]).toEqual(expect.arrayContaining([...known]));
  });
  it('has no word of health that the page cannot rank', () => {
    const all = estimate(golden, 0, 'vertical').column('health')?.enumeration ?? new Map<number, string>();
    expect(new Set(all.values())).toEqual(new Set(kHealthWords));
  });
  it('gives every role of its columns a title', () => {
    const roles = hello.description.tables.flatMap((t) => t.columns.flatMap((c) => c.role ?? []));
    expect(roles.length).toBeGreaterThan(0);
    for (const role of roles) expect(hello.roles.get(role), role).toMatch(/\S/);
  });
});

it('asks for estimators in one file only', () => {
  const source = new URL('../../src/', import.meta.url);
  const files = readdirSync(source, { recursive: true, encoding: 'utf8' }).filter((name) =>
    /\.(ts|svelte)$/.test(name),
  );
  const asking = files.filter((name) => readFileSync(new URL(name, source), 'utf8').includes('/estimate/'));
  expect(asking).toEqual(['tape/estimates.ts']);
});

describe('an estimate', () => {
  const about = description([
    table('v/estimate/vertical', 'estimate', [
      ...pair('altitude_m'),
      words('health', 'Health', 'not enough data yet', 'consistent'),
    ]),
  ]);
  const tape = replay_at(60, about, { 'v/estimate/vertical': { altitude_m: 120, altitude_m_sigma: 2, health: 1 } });
  it('gives value, 1-sigma, word and time of the row at the cursor', () => {
    const vertical = estimate(tape, 0, 'vertical');
    expect([vertical.value('altitude_m'), vertical.sigma('altitude_m'), vertical.t_s]).toEqual([120, 2, 50]);
    expect([vertical.word('health'), vertical.word('altitude_m')]).toEqual(['consistent', '']);
    expect([vertical.value('vertical_speed_mps'), vertical.ref('vertical_speed_mps')]).toEqual([NaN, undefined]);
  });
  it('of another vehicle or estimator is not known', () => {
    for (const other of [estimate(tape, 1, 'vertical'), estimate(tape, 0, 'phase')])
      expect([other.known, other.t_s, other.data]).toEqual([false, NaN, undefined]);
  });
  it('says a number without a word as it is', () => {
    const odd = replay_at(60, about, { 'v/estimate/vertical': { health: 7 } });
    expect(estimate(odd, 0, 'vertical').word('health')).toBe('7?');
  });
  it('ranks health from what is as it should be to what is not to be trusted, and unknown words behind', () => {
    const ranks = ['consistent', 'not enough data yet', 'do not trust', 'do not believe'].map(health_rank);
    expect(ranks).toEqual([0, 1, 4, 5]);
  });
  it('knows clocks that only run by table and column', () => {
    const clock = column('time_in_phase_s', 's');
    expect(is_running_clock(table('v/estimate/phase', 'estimate', []), clock)).toBe(true);
    expect(is_running_clock(table('v/phase', 'packet', []), clock)).toBe(false);
  });
});

it('takes the link that heard the vehicle last', () => {
  const links = ['near', 'far', 'other'].map((name, i) => ({ name, uri: '', vehicle: i < 2 ? 0 : 1 }));
  const tables = links.map(({ name }) => table(`link/${name}`, 'link', [column('age_s', 's')]));
  const rows = { 'link/near': { age_s: 3 }, 'link/far': { age_s: 0.2 }, 'link/other': { age_s: 0.1 } };
  const tape = replay_at(60, description(tables, { links }), rows);
  expect(newest_link(tape, 0)?.name).toBe('link/far');
  expect(newest_link(replay_at(60, description(tables, { links }), {}), 0)?.name, 'none was heard').toBe('link/near');
});

it('says what each of several receivers heard of all that came', () => {
  const links = ['near', 'far', 'other'].map((name, i) => ({ name, uri: '', vehicle: i < 2 ? 0 : 1 }));
  const columns = [column('first_here'), column('only_here')];
  const tables = links.map(({ name }) => table(`link/${name}`, 'link', columns));
  const rows = {
    'link/near': { first_here: 30, only_here: 5 },
    'link/far': { first_here: 70, only_here: 20 },
    'link/other': { first_here: 9, only_here: 9 },
  };
  const tape = replay_at(60, description(tables, { links }), rows);
  expect(heard_fraction(tape, 'near', 'first_here')).toBeCloseTo(0.3);
  expect(heard_fraction(tape, 'far', 'only_here')).toBeCloseTo(0.2);
  expect(heard_fraction(tape, 'other', 'first_here'), 'alone').toBeNaN();
  expect(heard_fraction(replay_at(60, description(tables, { links }), {}), 'near', 'first_here'), 'nothing').toBeNaN();
});

it('lets the age of the last packet grow on while no row comes', () => {
  const link = table('link/near', 'link', [column('age_s', 's')]);
  const tape = replay_at(56, description([link]), { 'link/near': { age_s: 0.5 } });
  expect(last_packet_s(tape, link_table(tape.description, 'near'))).toBe(6.5);
  expect(last_packet_s(tape, undefined)).toBeNaN();
});
