/** Chapters as the server counts them: its own tests read the same cases. */
import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import type { Json } from '../../../src/stream/json';
import { EventLog } from '../../../src/tape/events';
import { chapters_of } from '../../../src/tape/flight/chapters';
import { flight_name } from '../../../src/text/dates';
import { event } from '../../support/builders';

interface Case {
  about: string;
  events: { event: string; t_s: number; vehicle?: number; data?: Json }[];
  chapters: { number: number; name: string; from_s: number; liftoff_s: number | null }[];
}
const cases = JSON.parse(
  readFileSync(new URL('../../../../tests/golden/flights/chapters.json', import.meta.url), 'utf8'),
) as Case[];

interface Named {
  utc_ns: string;
  given: string;
  name: string;
}
const names = JSON.parse(
  readFileSync(new URL('../../../../tests/golden/flights/names.json', import.meta.url), 'utf8'),
) as Named[];

it.each(names)('a flight is called as the server calls it: $name', ({ utc_ns, given, name }) => {
  expect(flight_name(given, Number(BigInt(utc_ns) / 1_000_000n))).toBe(name);
});

describe('chapters, as the server counts them', () => {
  it.each(cases.map((one) => [one.about, one] as const))('%s', (_, one) => {
    const log = new EventLog();
    one.events.forEach(({ event: word, t_s, vehicle, data }, index) =>
      log.add(event(index + 1, t_s, 'flight_event', word, { vehicle: vehicle ?? 0, data: data ?? {} })),
    );
    expect(chapters_of(log, 0)).toEqual(
      one.chapters.map((chapter) => ({ ...chapter, liftoff_s: chapter.liftoff_s ?? NaN })),
    );
  });
});
