/** What an operator is told of who is connected. */
import { describe, expect, it } from 'vitest';
import { audience_words } from '../../src/crew/operator/wording';

const nobody = { operators: 0, replays: 0, answer_s: NaN, left_out: 0, behind: 0 };

describe('who is connected', () => {
  it.each([
    [1, nobody, '1 viewer is connected.'],
    [
      3,
      { operators: 1, replays: 1, answer_s: 0.28, left_out: 14, behind: 1 },
      '3 viewers are connected, 1 operator, 1 in a replay. The slowest answers in 0.3 s. ' +
        '14 updates left out for slow ones, 1 behind now.',
    ],
    [
      2,
      { ...nobody, operators: 2, left_out: 1 },
      '2 viewers are connected, 2 operators. 1 update left out for slow ones, 0 behind now.',
    ],
  ])('%d viewers', (viewers, audience, words) => expect(audience_words({ viewers, audience })).toBe(words));
});
