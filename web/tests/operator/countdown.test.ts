import { describe, expect, it } from 'vitest';
import { countdown_seconds, countdown_words } from '../../src/operator/countdown';

describe('a length as an operator types it', () => {
  it.each<[string, number | undefined]>([
    ['10:00', 600],
    [' 1:30:00 ', 5400],
    ['90', 90],
    ['0', 0],
    ['24:00:00', 86_400],
    ['24:00:01', undefined],
    ['10:7', undefined],
    ['10:60', undefined],
    ['1:2:3:4', undefined],
    ['-5', undefined],
    ['1e3', undefined],
    ['', undefined],
    ['ten', undefined],
  ])('%s', (typed, seconds) => expect(countdown_seconds(typed)).toBe(seconds));
});

describe('the countdown in words', () => {
  it.each([
    [undefined, 'none'],
    [{ left_s: 599.2, held: false, reason: '' }, 'T−10:00'],
    [{ left_s: 151, held: true, reason: '' }, 'T−2:31, held'],
    [{ left_s: -3.4, held: false, reason: '' }, 'T+0:03'],
  ])('%o', (countdown, words) => expect(countdown_words(countdown)).toBe(words));
});
