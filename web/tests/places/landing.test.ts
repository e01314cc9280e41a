/** Which landing every view goes by. */
import { describe, expect, it } from 'vitest';
import type { TapeEvent } from '../../src/stream/messages';
import { landing_area } from '../../src/places/place';
import { landing_cases } from '../../src/places/landing';
import { kLikeliestWords } from '../../src/tape/estimates';
import { column, description, event, replay_at, table, words } from '../support/builders';

const parts = ['east_m', 'north_m', 'semi_major_m', 'semi_minor_m', 'bearing_deg'];
const pad = { latitude_deg: -21.3846, longitude_deg: 23.1752 };
const about = description(
  [
    table('v/estimate/landing', 'estimate', [
      ...['nominal', 'no_parachute'].flatMap((name) => parts.map((part) => column(`${name}_${part}`, 'm'))),
      words('likeliest', 'Likeliest', ...Object.values(kLikeliestWords)),
    ]),
  ],
  { site: { name: '', pad, station: pad, declination_deg: 0, antenna_beamwidth_deg: 42, boundary: [] } },
);
const row = Object.fromEntries([
  ...['nominal', 'no_parachute'].flatMap((name) => parts.map((part) => [`${name}_${part}`, 100] as const)),
  ['likeliest', 0] as const,
]);
const raised = event(1, 40, 'alert_raised', 'no_parachute', { level: 'warning' });
const cleared = event(2, 48, 'alert_cleared', 'no_parachute', { level: 'warning' });

describe('the likeliest landing', () => {
  it.each([
    ['what fits best what is seen', [], 'nominal'],
    ['without a parachute while the station warns of that', [raised], 'no_parachute'],
    ['what fits best again once it does not', [raised, cleared], 'nominal'],
    ['not changed by a warning about another vehicle', [{ ...raised, vehicle: 1 }], 'nominal'],
  ] as [string, TapeEvent[], string][])('is %s', (_, events, name) => {
    const tape = replay_at(50.2, about, { 'v/estimate/landing': row }, events);
    expect(
      landing_cases(tape, 0)
        .filter((one) => one.likeliest)
        .map((one) => one.name),
    ).toEqual([name]);
    expect(landing_area(tape, 0)?.name).toBe(name);
  });
});
