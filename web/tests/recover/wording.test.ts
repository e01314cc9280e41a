/** What a recovery team reads: ages, places and areas, rounded as far as they are known. */
import { describe, expect, it } from 'vitest';
import {
  area_words,
  arrow_words,
  charge_words,
  heard_words,
  kept_band_words,
  near_words,
} from '../../src/recover/wording';
import { age_words, place_words } from '../../src/offline/wording';

const place = {
  latitude_deg: 1,
  longitude_deg: 2,
  altitude_msl_m: 990,
  altitude_agl_m: 41.3,
  sigma_m: 2.6,
  age_s: 247,
  utc_ms: Date.UTC(2026, 4, 17, 14, 16, 23),
  before_flight: false,
  at_rest: false,
};
const area = {
  latitude_deg: 1,
  longitude_deg: 2,
  name: 'nominal' as const,
  semi_major_m: 36,
  semi_minor_m: 28,
  bearing_deg: 70,
  age_s: 61,
};
const plain = (text: string): string => text.replaceAll('\u00a0', ' ');

describe('an age', () => {
  it.each([
    [0.2, '0.2 s'],
    [1.9, '1.9 s'],
    [99.9, '99 s'],
    [100, '1 min'],
    [599, '9 min'],
    [3600, '1 h'],
    [11_150, '3 h 05 min'],
  ])('of %d s is "%s"', (age_s, words) => expect(plain(age_words(age_s))).toBe(words));
});

describe('the words of a place', () => {
  it('have its age, time, altitude and ±', () =>
    expect(plain(place_words(place))).toBe('4 min old, at 14:16:23 UTC, ± 3 m, then 41 m AGL'));
  it('leave out what is not known, and say so of the ±', () =>
    expect(plain(place_words({ ...place, altitude_agl_m: NaN, sigma_m: NaN }))).toBe(
      '4 min old, at 14:16:23 UTC, ± not known',
    ));
});

describe('the words of an area', () => {
  const way = (distance_m: number, bearing_deg: number) => ({ distance_m, bearing_deg });
  it('are rounded to 10 m and 5°, its size upwards', () =>
    expect(plain(area_words(area, 'N', way(203, 88), way(641, 52), true))).toBe(
      'Then search inside N: 95 % ellipse 40 × 30 m (semi-axes), its middle 200 m at 090° from the last place ' +
        'and 640 m at 050° from the start, magnetic. Predicted 61 s ago.',
    ));
  it('say so when it lies around the last place', () =>
    expect(plain(area_words(area, 'M', way(9, 88), way(641, 52), true))).toBe(
      'Then search inside M: 95 % ellipse 40 × 30 m (semi-axes), around it. Predicted 61 s ago.',
    ));
  it('say so when it is all there is', () =>
    expect(plain(area_words(area, 'M', undefined, way(641, 52), true))).toBe(
      'Search inside M: 95 % ellipse 40 × 30 m (semi-axes). Predicted 61 s ago.',
    ));
  it('say which north without a declination', () =>
    expect(area_words(area, 'N', way(203, 88), undefined, false)).toContain('from the last place, true.'));
});

describe('the words inside the goal', () => {
  it.each([
    ['device', false, 'You are inside its ±. Look around you.'],
    ['typed', true, 'You are inside the area to search.'],
    ['pad', true, 'The pad is inside the area to search.'],
    ['station', false, 'The station is inside its ±.'],
    ['parked', true, 'Where I parked is inside the area to search.'],
  ] as const)('from %s, predicted %s: %s', (start, predicted, words) =>
    expect(near_words(start, predicted)).toBe(words),
  );
});

describe('other words', () => {
  it.each([
    [2, 'straight on'],
    [-43, '45 degrees to the left'],
    [179, '180 degrees to the right'],
  ])('of an arrow turned by %d°', (turn, words) => expect(arrow_words(turn)).toContain(words));
  it('of charges name the sign', () => {
    expect(charge_words({ title: 'Main igniter', why: 'conducts' })).toBe(
      'Main igniter still has continuity: its charge may be live.',
    );
    expect(charge_words({ title: 'Drogue', why: 'not_seen' })).toContain('not seen to open');
  });
  it('of the last packet give the battery of then, when it was sent', () => {
    expect(plain(heard_words(130, 7.46))).toBe('Last heard 2 min ago, battery 7.46 V then.');
    expect(plain(heard_words(0.4, NaN))).toBe('Last heard 0.4 s ago.');
  });
  it('of the kept page say since when', () =>
    expect(plain(kept_band_words(200))).toBe('Kept on this device 3 min ago; station out of range.'));
});
