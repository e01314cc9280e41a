/**
 * Figures in a viewer's units. Factors against their definitions: 1 ft = 0.3048 m, 1 mile = 1609.344 m (NIST SP 811,
 * 2008 edition, appendix B.8).
 */
import { describe, expect, it } from 'vitest';
import {
  compass_word,
  predicted_bearing,
  sentence_in,
  step_of,
  to_go,
  unbroken,
  with_sigma,
} from '../../src/text/viewer';

it.each([
  ['length', 959.4, 2.1, 'metric', '959', 'm', '± 2 m'],
  ['length', 1107, 21, 'metric', '1110', 'm', '± 20 m'],
  ['length', 1107, 0.4, 'metric', '1107', 'm', '± 1 m'],
  ['length', -0.3, NaN, 'metric', '0', 'm', ''],
  ['length', 304.8, 3.048, 'feet', '1000', 'ft', '± 10 ft'],
  ['speed', 44.704, NaN, 'feet', '100', 'mph', ''],
  ['speed', 93.4, 3, 'metric', '93', 'm/s', '± 3 m/s'],
] as const)('shows the %s %d ± %d in %s as %s %s %s', (quantity, value, sigma, units, text, unit, spread) => {
  const shown = with_sigma(quantity, value, sigma, units);
  expect([shown.text, shown.unit, shown.spread.replaceAll(/[\u202f\u00a0]/g, ' ')]).toEqual([text, unit, spread]);
  expect(shown.number).toBe(Number(text));
});

it('shows no figure for no value', () => {
  expect(with_sigma('length', NaN, 1, 'metric')).toEqual({ text: '–', unit: '', spread: '', number: NaN });
});

it.each([
  [0.3, 1],
  [9.9, 1],
  [10, 10],
  [230, 100],
  [NaN, 1],
  [Infinity, 1],
])('rounds to the decade of ± %d, which is %d', (sigma, step) => expect(step_of(sigma)).toBe(step));

it('rounds a predicted direction to 5°, and names winds', () => {
  expect([12, 13, 358].map(predicted_bearing)).toEqual(['010°', '015°', '000°']);
  expect([116, 243, 359, 22, 23].map(compass_word)).toEqual([
    'south-east',
    'south-west',
    'north',
    'north',
    'north-east',
  ]);
});

it('counts down to nothing and no further', () => {
  expect([5.4, 72, -3].map(to_go)).toEqual(['5 s', '1 min 12 s', '0 s']);
});

describe('a sentence of the station', () => {
  it('stays as it is in metres', () => {
    expect(sentence_in('Under thrust. 959 m AGL, climbing 154 m/s.', 'metric')).toContain(
      '959 m AGL, climbing 154 m/s',
    );
  });
  it.each([
    ['Under thrust. 959 m AGL, climbing 154 m/s.', 'Under thrust. 3146 ft AGL, climbing 344 mph.'],
    ['Coasting. Apogee about 1100 m in 5 s.', 'Coasting. Apogee about 3600 ft in 5 s.'],
    ['Down 114 m from the pad at 116°. Apogee 1110 m.', 'Down 374 ft from the pad at 116°. Apogee 3640 ft.'],
    ['Landing in 1 min 12 s.', 'Landing in 1 min 12 s.'],
  ])('%s becomes %s', (metric, feet) => expect(sentence_in(metric, 'feet')).toBe(feet));
});

it('keeps a number with its unit, and lets the rest break', () => {
  const text = 'No parachute seen. 550 m, falling 93 m/s, impact in 1 min 5 s.';
  expect(unbroken(text).replaceAll('\u00a0', '_')).toBe(
    'No parachute seen. 550_m, falling 93_m/s, impact in 1_min 5_s.',
  );
});

it('a sign and its number never stand on two lines', () =>
  expect(
    ['≤ 0.6 m/s²', '± 3 °', '104 m ± 3 m', '-5.15 °C to 59.85 °C'].map((text) =>
      unbroken(text).replaceAll('\u00a0', '_'),
    ),
  ).toEqual(['≤_0.6_m/s²', '±_3_°', '104_m_±_3_m', '-5.15_°C to 59.85_°C']));
