/** Words of the views of a flight. */
import { describe, expect, it } from 'vitest';
import { beam_words } from '../../src/flight/cards/wording';
import { map_words, place_words } from '../../src/flight/map/wording';
import { why_off_words } from '../../src/flight/operator/wording';
import { needs_words } from '../../src/flight/readouts/wording';

it.each([
  ['battery_voltage', 'Needs battery voltage'],
  ['a_new_role', 'Needs a_new_role'],
])('a vehicle without %s: %s', (role, text) =>
  expect(needs_words(role, new Map([['battery_voltage', 'battery voltage']]))).toBe(text),
);

it.each([
  [0.1, 'inside the beam'],
  [0.7, 'mostly inside the beam'],
  [1, 'may be outside the beam'],
  [NaN, ''],
])('%d half beams: %s', (half_beams, text) => expect(beam_words(half_beams)).toBe(text));

describe('the map', () => {
  it('is said for who does not see it', () => {
    expect(map_words(NaN, [])).toBe('Map, north up: place of the vehicle not known');
    expect(map_words(312.4, [{ name: 'drogue_fails', text: place_words(41.6, 38) }])).toBe(
      'Map, north up: vehicle 312 metres from the pad; landing, drogue fails: 42 m, 038°',
    );
  });
});

it.each([
  [true, true, ''],
  [true, false, 'These need the operator key.'],
  [false, true, 'Markers and notes go on the live recording only.'],
])('live %s, operator %s: "%s"', (live, operator, text) => expect(why_off_words(live, operator)).toBe(text));
