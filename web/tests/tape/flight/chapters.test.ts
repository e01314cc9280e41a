/** Several flights in one recording. */
import { describe, expect, it } from 'vitest';
import type { TapeEvent } from '../../../src/stream/messages';
import { EventLog } from '../../../src/tape/events';
import { begin_of, chapter_at, chapters_of } from '../../../src/tape/flight/chapters';
import { event } from '../../support/builders';

const happened = (id: number, t_s: number, word: string, more: Partial<TapeEvent> = {}): TapeEvent =>
  event(id, t_s, 'flight_event', word, more);
const named = (id: number, t_s: number, name: string): TapeEvent =>
  happened(id, t_s, 'flight_named', { data: { name } });

function logged(...events: TapeEvent[]): EventLog {
  const log = new EventLog();
  for (const one of events) log.add(one);
  return log;
}

describe('chapters of a recording', () => {
  const log = logged(
    named(1, 2, 'Frist hop'),
    named(2, 3, 'First hop'),
    happened(3, 20, 'liftoff'),
    happened(4, 50, 'touchdown'),
    happened(5, 80, 'ready_again'),
    happened(6, 90, 'liftoff', { vehicle: 1 }),
    happened(7, 100, 'liftoff'),
    happened(8, 101, 'false_liftoff'),
    named(9, 102, 'Second hop'),
  );
  const chapters = chapters_of(log, 0);

  it('are the flights of a vehicle, each with the newest name it was given', () =>
    expect(chapters).toEqual([
      { number: 1, name: 'First hop', from_s: 0, liftoff_s: 20 },
      { number: 2, name: 'Second hop', from_s: 80, liftoff_s: NaN },
    ]));
  it.each([
    [0, 1],
    [79.9, 1],
    [80, 2],
    [500, 2],
  ])('at %d s are in number %d', (t_s, number) => expect(chapter_at(chapters, t_s)?.number).toBe(number));
  it('begin a little before liftoff, or where nothing has flown at their start', () =>
    expect(chapters.map(begin_of)).toEqual([15, 80]));
  it('of a vehicle that nobody heard of are one, not flown', () =>
    expect(chapters_of(log, 2)).toEqual([{ number: 1, name: '', from_s: 0, liftoff_s: NaN }]));
});

describe('a marker that is changed', () => {
  const marker = (id: number, t_found_s: number, text: string, more: Partial<TapeEvent> = {}): TapeEvent =>
    event(id, 5, 'marker', 'marker', { key: 'marker/1', text, t_found_s, ...more });
  const taken_back = { data: { taken_back: true } };
  const texts = (log: EventLog): string[] => log.events.map((one) => one.text);

  it('takes the place of the one before, in whatever order they come', () => {
    const [first, second] = [marker(9, 5, 'armde'), marker(4, 8, 'armed')];
    expect(texts(logged(first, second))).toEqual(['armed']);
    expect(texts(logged(second, first))).toEqual(['armed']);
  });
  it('is gone when it is taken back, until it is written again', () => {
    const [first, gone] = [marker(1, 5, 'armed'), marker(2, 8, 'Taken back: armed', taken_back)];
    expect(texts(logged(first, gone))).toEqual([]);
    expect(texts(logged(gone, first))).toEqual([]);
    expect(texts(logged(first, gone, marker(3, 9, 'armed')))).toEqual(['armed']);
  });
  it('leaves others alone, and those of a recording that gives them no keys of their own', () => {
    const others = [marker(1, 5, 'a', { key: 'marker/2' }), marker(2, 5, 'b', { key: 'marker' })];
    expect(texts(logged(...others, marker(3, 6, 'c', { key: 'marker' }), marker(4, 7, 'd')))).toEqual([
      'a',
      'b',
      'c',
      'd',
    ]);
  });
});
