/** What is said of events and of estimates that there are not. */
import { describe, expect, it } from 'vitest';
import { beam_words } from '../../src/flight/cards/wording';
import { event_words } from '../../src/flight/events/wording';
import { missing_words, needs_words } from '../../src/flight/wording';
import { event } from '../support/builders';

const roles = new Map([
  ['static_pressure', 'static pressure'],
  ['accel_body_x', 'acceleration along the long axis'],
  ['latitude', 'latitude'],
  ['longitude', 'longitude'],
]);

describe('a missing estimate', () => {
  it.each([
    [{ estimate: 'air', needs: ['static_pressure'], any: false }, 'No air-data estimate: needs static pressure'],
    [
      { estimate: 'vertical', needs: ['accel_body_x', 'static_pressure'], any: true },
      'No vertical estimate: needs acceleration along the long axis or static pressure',
    ],
    [
      { estimate: 'navigation', needs: ['latitude', 'longitude'], any: false },
      'No navigation estimate: needs latitude and longitude',
    ],
    [{ estimate: 'engine', needs: ['engine_speed'], any: false }, 'No engine estimate: needs engine_speed'],
  ])('%j: %s', (missing, text) => expect(missing_words(missing, roles)).toBe(text));
  it('may be said of a single channel', () =>
    expect(needs_words(['static_pressure'], roles)).toBe('needs static pressure'));
});

describe('the event log', () => {
  it("shows the server's sentence as it is, with a capital", () =>
    expect(event_words(event(1, 0, 'flight_event', 'k', { text: 'shock of 133 m/s² for 18 ms' }), roles)).toBe(
      'Shock of 133 m/s² for 18 ms',
    ));
  it('says what is missing from the data, not from the sentence', () => {
    const data = { estimate: 'air', needs: ['static_pressure'], any: false };
    const text = 'whatever a server says of the role static_pressure';
    expect(event_words(event(1, 0, 'recording', 'v/missing/air', { text, data }), roles)).toBe(
      'No air-data estimate: needs static pressure',
    );
  });
});

it.each([
  [0.1, 'inside the beam'],
  [0.7, 'mostly inside the beam'],
  [1, 'may be outside the beam'],
  [NaN, ''],
])('%d half beams: %s', (half_beams, text) => expect(beam_words(half_beams)).toBe(text));
