/** The log book: answers read, lines found, days divided, sentences said. */
import { beforeAll, describe, expect, it, vi } from 'vitest';
import { by_day, kNoFilter, scale_of, shown_flights, tags_in } from '../../src/flights/filter';
import { export_address, read_log_book, type Flight } from '../../src/stream/flights';
import type * as wording from '../../src/flights/wording';
import { debrief } from '../../dev/debrief.mjs';

const answer = (): unknown => debrief('GET', new URL('http://station/api/flights'), {});
let flights: readonly Flight[];
let words: typeof wording;
beforeAll(async () => {
  flights = read_log_book(answer()).flights;
  words = await import('../../src/flights/wording');
});

describe('tags', () => {
  it.each([
    ['', []],
    [' , ,', []],
    ['long rail, new drogue', ['long rail', 'new drogue']],
    ['new drogue ,long rail,new drogue', ['new drogue', 'long rail']],
  ])('are kept once each, as typed: "%s"', (typed, kept) => {
    expect(tags_in(typed)).toEqual(kept);
  });
});

describe('an answer', () => {
  it('is read with its figures', () => {
    const [newest] = flights;
    expect(newest?.figures.get('apogee_m')).toMatchObject({ unit: 'm', title: 'Apogee AGL' });
    expect(newest?.curve.t_s.length).toBe(newest?.curve.altitude_m.length);
    expect(newest?.ended).toBe('touchdown');
  });
  it('has NaN for what is null', () => {
    const ballistic = flights.find((flight) => flight.ended === 'impact');
    expect(ballistic?.figures.get('main_out_m')?.value).toBeNaN();
  });
  it.each([
    [{ flights: {} }, 'log book/flights'],
    [{ flights: [{ id: 7 }] }, 'log book/flights/0/id'],
    [{ flights: [{ ...(first() as object), ended: 'flew off' }] }, 'log book/flights/0/ended'],
    [{ flights: [{ ...(first() as object), tags: [1] }] }, 'log book/flights/0/tags/0'],
  ])('that is wrong is refused with the place', (wrong, place) => {
    expect(() => read_log_book(wrong)).toThrow(place);
  });
});

function first(): unknown {
  return (answer() as { flights: unknown[] }).flights[0];
}

describe('the filter', () => {
  it.each([
    [{ search: 'gusts' }, 1],
    [{ search: 'camera GUSTS' }, 1],
    [{ search: 'still air' }, 1],
    [{ search: '25 nov 2026' }, 1], // as the line of a flight without a name has it
    [{ tag: 'camera' }, 2],
    [{ site: 'Long Shore' }, 2],
    [{ vehicle: 'sanderling' }, 7],
    [{ archived: true }, 0],
  ])('%j leaves %d', (change, count) => {
    expect(shown_flights(flights, { ...kNoFilter, ...change }).length).toBe(count);
  });
});

it('lines stand under their days, newest first', () => {
  const days = by_day(flights.toReversed(), (ms, site) => words.day_words(ms, site, 'utc'));
  expect(days.map((day) => [day.words, day.flights.length])).toEqual([
    ['25 Nov 2026 · Lantern Flat', 1],
    ['14 Nov 2026 · Lantern Flat', 2],
    ['31 Oct 2026 · Lantern Flat', 2],
    ['10 Oct 2026 · Long Shore', 2],
  ]);
});

it('small curves have one scale', () => {
  const { highest_m, longest_s } = scale_of(flights);
  for (const { curve } of flights) {
    expect(Math.max(...curve.altitude_m)).toBeLessThanOrEqual(highest_m);
    expect(curve.t_s.at(-1)).toBeLessThanOrEqual(longest_s);
  }
});

describe('the first sentence', () => {
  const plain = (text: string): string => text.replace(/[\u202f\u00a0]/g, ' ');
  it('is about the newest flight', () => {
    expect(plain(words.book_sentence(flights, [], false))).toMatch(
      /^7 flights in the log book\. The newest reached \d+ ± \d+ m AGL and came down 114 m at 116°\.$/,
    );
  });
  it('is about those that are chosen', () => {
    expect(plain(words.book_sentence(flights, flights.slice(0, 3), false))).toMatch(
      /^3 of 7 flights chosen\. Their apogee \d+ ± \d+ m AGL\.$/,
    );
  });
  it('asks for a second one', () => {
    expect(words.book_sentence(flights, flights.slice(0, 1), false)).toBe(
      '25 Nov 2026 14:15 UTC chosen. Choose another to compare it with.',
    );
  });
});

it('an export is asked for by what is chosen', () => {
  const choice = { format: 'csv' as const, from_s: 12.5, to_s: 60, channels: ['sanderling/imu'], every_s: 0.1 };
  expect(export_address('a~sanderling~1', choice)).toBe(
    '/api/flights/a~sanderling~1/export?format=csv&from_s=12.5&to_s=60&every_s=0.1&channels=sanderling%2Fimu',
  );
});

vi.stubGlobal('location', { hash: '', protocol: 'http:', host: 'station' });
