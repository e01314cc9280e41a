/** The readiness board: what it says, and that it never says ready by itself. */
import { describe, expect, it } from 'vitest';
import { board_at, most_wind, wind_of } from '../../src/ready/board';
import { read_position_link } from '../../src/ready/position_link';
import { big_clock, board_says } from '../../src/ready/wording';
import type { TapeEvent } from '../../src/stream/messages';
import { column, description, event, replay_at, table, words } from '../support/builders';
import { cells, check, check_table } from '../support/ground';

const kBoard = check_table('readiness', { gust: ['m/s', 1], clear: ['1', 0] });
const about = description([
  table('v/readiness', 'estimate', [...kBoard.columns, words('ready', 'Ready', 'not ready', 'ready')], { period_s: 1 }),
]);
const readiness = {
  groups: [
    {
      title: 'Site',
      checks: [check('gust', { title: 'Gust', required: '≤ 8.9 m/s' }), check('clear', { title: 'Range clear' })],
    },
  ],
  positions: [
    { id: 'weather', title: 'Weather' },
    { id: 'launch', title: 'Launch' },
  ],
};
let ids = 0;
const happened = (t_s: number, word: string, data: Record<string, unknown> = {}): TapeEvent =>
  event(++ids, t_s, 'readiness', word, { vehicle: -1, data });
const good = { ...cells('gust', 'holds', 5, 3.9), ...cells('clear', 'holds', 1) };
const go = (t_s: number, position: string) => happened(t_s, 'poll_answered', { position, go: true, by: 'KL' });
const all_go = [go(10, 'weather'), go(11, 'launch')];

function says(row: Readonly<Record<string, number>>, events: readonly TapeEvent[], cursor_s = 51) {
  const tape = replay_at(cursor_s, about, { 'v/readiness': row }, events);
  const board = board_at(tape, 0, readiness);
  return board_says(board.ready, board.rows, board.poll, tape.log.countdown_at(tape.cursor_s), board.old);
}

describe('the board', () => {
  it('is ready when the station says so', () =>
    expect(says({ ...good, ready: 1 }, all_go)).toMatchObject({ level: 'note', form: 'board ready' }));

  it.each([
    ['the station does not', { ...good, ready: 0 }, all_go, 51, 'advisory'],
    ['a must-check fails', { ...good, ...cells('gust', 'fails', 9.4, -0.5), ready: 1 }, all_go, 51, 'caution'],
    ['a must-check waits', { ...good, ...cells('clear', 'waits'), ready: 1 }, all_go, 51, 'advisory'],
    ['nobody was asked', { ...good, ready: 1 }, [], 51, 'advisory'],
    ['its row is old', { ...good, ready: 1 }, all_go, 60, 'caution'],
    [
      'it was asked again',
      { ...good, ready: 1 },
      [...all_go, happened(20, 'poll_asked', { position: 'launch' })],
      51,
      'advisory',
    ],
  ])('is not ready when %s', (_, row, events, cursor_s, level) => {
    const said = says(row, events, cursor_s);
    expect(said.level).toBe(level);
    expect(said.text).not.toMatch(/^(Hold at [^.]*\. )?Ready/);
  });

  it('says who says no go and what fails, at the hold', () => {
    const events = [
      happened(5, 'countdown_held', { left_s: 300 }),
      ...all_go,
      happened(30, 'poll_answered', { position: 'weather', go: false, by: 'KL', note: 'gusts' }),
    ];
    expect(says({ ...good, ...cells('gust', 'fails', 9.4, -0.5), ready: 0 }, events)).toMatchObject({
      text: 'Hold at T−5:00. Gust 9.4\u00a0m/s, required ≤ 8.9 m/s. Weather says no go.',
      level: 'caution',
    });
  });

  it('says what the station says of a check that fails, where it says something', () => {
    const why = 'Battery low: 6.9 V, at least 7.2 V';
    const decided = happened(30, 'check_decided', { check: 'clear', procedure: undefined, state: 'fails', why });
    const row = { ...good, ...cells('clear', 'fails', 1), ready: 0 };
    expect(says(row, [...all_go, { ...decided, vehicle: 0 }]).text).toBe(`Not ready. Range clear: ${why}.`);
  });

  it('is heard again when somebody else says no go', () => {
    const no = (position: string) => happened(30, 'poll_answered', { position, go: false, by: 'KL' });
    const forms = ['weather', 'launch'].map((position) => says({ ...good, ready: 0 }, [...all_go, no(position)]).form);
    expect(forms[0]).not.toBe(forms[1]);
  });

  it('has the answer of each position as it was at the cursor', () => {
    const events = [happened(5, 'poll_asked', { position: 'weather' }), ...all_go];
    const answers = (t_s: number) =>
      board_at(replay_at(t_s, about, {}, events), 0, readiness).poll.map((row) => row.answer);
    expect(answers(4)).toEqual(['not_asked', 'not_asked']);
    expect(answers(7)).toEqual(['asked', 'not_asked']);
    expect(answers(12)).toEqual(['go', 'go']);
  });
});

it('draws the least of the limits that checks set to the wind, before anything is measured', () => {
  const mast = { name: 'mast', title: 'Mast', rocket: false, parachutes: [], more: {} };
  const both = description(
    [kBoard, table('mast/wind', 'packet', [column('speed', 'm/s', { role: 'wind_speed' })], { vehicle: 1 })],
    { vehicles: [...about.vehicles, mast] },
  );
  const of_wind = { vehicle: 'mast', table: 'estimate/wind' };
  const groups = (limits: readonly number[]) => [
    {
      title: 'Site',
      checks: [
        ...limits.map((most, i) => check(`wind_${i}`, { ...of_wind, most })),
        check('gust', { most: 1 }), // says nothing of that wind
      ],
    },
  ];
  const drawn = (limits: readonly number[]): number => {
    const tape = replay_at(51, both, {});
    return most_wind(tape, wind_of(tape)!, board_at(tape, 0, { ...readiness, groups: groups(limits) }).rows);
  };
  expect(drawn([8.9, NaN, 6])).toBe(6);
  expect(drawn([NaN])).toBe(Infinity);
});

const day = (in_s: number): string => `in ${in_s}`;
it.each([
  [
    { left_s: 300, held: true, reason: 'wind' },
    19,
    NaN,
    { about: 'Countdown, held for 19 s', figure: 'T−5:00', why: 'wind', below: 'liftoff not before in 300' },
  ],
  [
    { left_s: 61.2, held: false, reason: '' },
    NaN,
    NaN,
    { about: 'Countdown', figure: 'T−1:02', why: '', below: 'liftoff at in 61.2' },
  ],
  [undefined, NaN, NaN, { about: 'Countdown', figure: '', why: '', below: 'No countdown' }],
  [{ left_s: -3, held: false, reason: '' }, NaN, 3.9, { about: 'Since liftoff', figure: 'T+0:03', why: '', below: '' }],
])('the largest figure of %j', (countdown, held_for_s, flown_s, expected) =>
  expect(big_clock(countdown, held_for_s, flown_s, day)).toEqual(expected),
);

it.each([
  ['', undefined],
  ['key=a', undefined],
  ['position=weather&key=a%2Bb', { position: 'weather', key: 'a+b' }],
  ['position=weather', { position: 'weather', key: undefined }],
])('the link "%s" is for %j', (query, link) => expect(read_position_link(query)).toEqual(link));
