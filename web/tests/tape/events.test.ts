/** The event log: phases as spans, the events of the flight that the cursor stands in, alerts of a moment. */
import { describe, expect, it } from 'vitest';
import { EventLog, kFlightEvents, type Countdown } from '../../src/tape/events';
import type { TapeEvent } from '../../src/stream/messages';
import { why_missing } from '../../src/tape/missing';
import { event, missing, phase } from '../support/builders';

const logged = (...events: ReturnType<typeof event>[]): EventLog => {
  const log = new EventLog();
  for (const one of events) log.add(one);
  return log;
};

describe('the event log', () => {
  it('orders by time of happening, not of arrival, and takes each once', () => {
    const log = logged(
      event(1, 5, 'note', 'a'),
      event(2, 3, 'note', 'b'),
      event(1, 5, 'note', 'a'),
      event(3, 4, 'note', 'c'),
    );
    expect(log.events.map((e) => e.id)).toEqual([2, 3, 1]);
  });
  it('makes spans of phases', () => {
    const log = logged(phase(1, 0, 'on the rail'), phase(2, 12.5, 'under thrust'), phase(3, 14.6, 'coasting'));
    expect(log.phases(0).map((p) => [p.from_s, p.to_s])).toEqual([
      [0, 12.5],
      [12.5, 14.6],
      [14.6, Infinity],
    ]);
    expect(log.phase_at(0, 13)?.phase).toBe('under thrust');
  });
  it('takes the zero of T+ from liftoff, until the vehicle is ready for another flight', () => {
    const log = logged(event(1, 12.5, 'flight_event', 'liftoff'));
    expect([log.liftoff_s(0), log.liftoff_s(1)]).toEqual([12.5, undefined]);
    log.add(event(2, 15, 'flight_event', 'ready_again'));
    expect(log.liftoff_s(0)).toBeUndefined();
  });
  it('shows at a moment the alerts of that moment, most urgent first', () => {
    const log = logged(
      event(1, 1, 'alert_raised', 'a', { level: 'caution' }),
      event(2, 2, 'alert_raised', 'b', { level: 'warning' }),
      event(3, 3, 'alert_cleared', 'a', { level: 'caution' }),
    );
    expect(log.alerts_at(0.5)).toEqual([]);
    expect(log.alerts_at(2.5).map((a) => a.event.key)).toEqual(['b', 'a']);
    expect(log.alerts_at(9).map((a) => a.event.key)).toEqual(['b']);
  });
});

describe('sentences', () => {
  const said = (id: number, t_s: number, text: string, more = {}): TapeEvent =>
    event(id, t_s, 'sentence', 'sentence', { text, ...more });

  it('are the newest of the vehicle at the moment, and in no list of events', () => {
    const log = logged(said(1, 5, 'a'), said(2, 9, 'c', { level: 'warning' }), said(3, 7, 'b', { vehicle: 1 }));
    expect([5, 8, 9].map((t_s) => log.sentence_at(0, t_s)?.text)).toEqual(['a', 'a', 'c']);
    expect(log.sentence_at(0, 9)?.level).toBe('warning');
    expect(log.sentence_at(1, 9)?.text).toBe('b');
    expect(log.events).toEqual([]);
  });
  it('are made from the phase where a recording has none', () => {
    const log = logged(phase(1, 3, 'under drogue'));
    expect([2, 3].map((t_s) => log.sentence_at(0, t_s)?.text)).toEqual([undefined, 'Under drogue.']);
  });
});

describe('the life of an alert', () => {
  const raised = (id: number, t_s: number, more = {}): TapeEvent => event(id, t_s, 'alert_raised', 'a', more);
  const then = (id: number, t_s: number, kind: string, more = {}): TapeEvent => event(id, t_s, kind, 'a', more);
  const cases: [string, TapeEvent[], [number, string][]][] = [
    [
      'goes when it returns to normal',
      [raised(1, 1), then(2, 3, 'alert_cleared')],
      [
        [2, 'standing'],
        [3, ''],
      ],
    ],
    [
      'is known once somebody acknowledges it',
      [raised(1, 1), then(2, 2, 'alert_acknowledged'), then(3, 3, 'alert_cleared')],
      [
        [2, 'standing, acknowledged'],
        [3, ''],
      ],
    ],
    [
      'is news again when it is raised again: it has another level or cause',
      [
        raised(1, 1, { level: 'caution' }),
        then(2, 2, 'alert_acknowledged'),
        raised(3, 3, { level: 'caution' }),
        then(4, 4, 'alert_acknowledged'),
        raised(5, 5, { level: 'warning' }),
      ],
      [
        [2, 'standing, acknowledged'],
        [3, 'standing'],
        [4, 'standing, acknowledged'],
        [5, 'standing'],
      ],
    ],
    [
      'is put aside until a time, or until it is taken back',
      [
        raised(1, 1),
        then(2, 2, 'alert_shelved', { data: { for_s: 3 } }),
        then(3, 6, 'alert_shelved', { data: { for_s: 44 } }),
        then(4, 7, 'alert_unshelved'),
      ],
      [
        [2, 'standing, shelved'],
        [5, 'standing'],
        [6, 'standing, shelved'],
        [7, 'standing'],
      ],
    ],
    [
      'begins again when it is raised after it returned to normal',
      [raised(1, 1), then(2, 2, 'alert_cleared'), raised(3, 3)],
      [
        [2, ''],
        [3, 'standing'],
      ],
    ],
  ];
  it.each(cases)('%s', (_, events, want) => {
    const log = logged(...events);
    for (const [t_s, words] of want) {
      const found = log
        .alerts_at(t_s)
        .map((alert) =>
          [
            'standing',
            ...(alert.acknowledged ? ['acknowledged'] : []),
            ...(Number.isNaN(alert.shelved_until_s) ? [] : ['shelved']),
          ].join(', '),
        );
      expect(found.join('; ')).toBe(words);
    }
  });
});

describe('flight events', () => {
  const flown = (log: EventLog, from_id: number, t_s: number): void => {
    log.add(event(from_id, t_s, 'flight_event', 'liftoff'));
    log.add(phase(from_id + 1, t_s, 'under thrust'));
    log.add(event(from_id + 2, t_s + 10, 'flight_event', 'apogee', { t_sigma_s: 0.3 }));
    log.add(event(from_id + 3, t_s + 60, 'flight_event', 'touchdown'));
  };
  const said = (log: EventLog, at_s?: number): string[] => log.flight_events(0, at_s).map((e) => `${e.name} ${e.t_s}`);

  it('are those of the flight that the cursor stands in', () => {
    const log = logged(phase(1, 0, 'on the rail'));
    flown(log, 10, 30);
    log.add(event(20, 300, 'flight_event', 'ready_again'));
    const first = ['liftoff 30', 'apogee 40', 'touchdown 90'];
    expect([said(log), said(log, 299), said(log, 5)]).toEqual([['ready_again 300'], first, first]);
    flown(log, 30, 400);
    expect([log.liftoff_s(0), log.liftoff_s(0, 299), log.liftoff_s(0, 300)]).toEqual([400, 30, 400]);
    expect(log.flight_events(0, 299)[1]?.sigma_s).toBe(0.3);
  });
  it('have happened only up to the cursor', () => {
    const log = new EventLog();
    flown(log, 10, 30);
    expect([29, 40, 91].map((t_s) => log.happened(0, t_s).length)).toEqual([0, 2, 3]);
  });
  it('are gone when the liftoff was a false one, also for who looks back', () => {
    const log = logged(event(2, 10, 'flight_event', 'liftoff'), event(3, 12, 'flight_event', 'false_liftoff'));
    expect([log.liftoff_s(0), log.liftoff_s(0, 11)]).toEqual([undefined, undefined]);
  });
  it('do not mix vehicles, and are the same in whatever order events come', () => {
    const log = logged(
      event(3, 20, 'flight_event', 'apogee'),
      event(2, 7, 'flight_event', 'liftoff', { vehicle: 1 }),
      event(1, 10, 'flight_event', 'liftoff'),
    );
    expect([said(log), log.liftoff_s(1)]).toEqual([['liftoff 10', 'apogee 20'], 7]);
  });
  it('are each the first of their word, whatever their keys', () => {
    const log = logged(
      ...kFlightEvents.map((name, i) => event(i, i, 'flight_event', name, { key: `v/odd/${i}` })),
      event(20, 20, 'flight_event', 'apogee'),
      event(21, 21, 'flight_event', 'shock'),
      event(22, 22, 'flight_event', '', { key: 'v/flight/liftoff' }),
    );
    expect(said(log)).toEqual(kFlightEvents.map((name, i) => `${name} ${i}`));
  });
});

it('has the sentence of an estimate that a vehicle cannot have', () => {
  const log = logged(missing(1, 'air', 'No air-data estimate: needs static pressure'));
  expect(why_missing(log, 0, 'air')).toBe('No air-data estimate: needs static pressure');
  expect([why_missing(log, 1, 'air'), why_missing(log, 0, 'vertical')]).toEqual(['', '']);
});

describe('the countdown', () => {
  const step = (id: number, t_s: number, name: string, data: TapeEvent['data'] = {}): TapeEvent =>
    event(id, t_s, 'countdown', name, { vehicle: -1, data });
  const log = logged(
    step(1, 10, 'countdown_runs', { left_s: 600 }),
    step(2, 70, 'countdown_held', { left_s: 540 }),
    step(5, 80, 'countdown_held', { left_s: 540, reason: 'smoke' }),
    step(3, 100, 'countdown_runs', { left_s: 540 }),
    step(4, 650, 'countdown_off'),
  );
  it.each<[string, number, Countdown | undefined]>([
    ['is none before it is set', 9, undefined],
    ['runs', 40, { left_s: 570, held: false, reason: '' }],
    ['stands while it is held', 75, { left_s: 540, held: true, reason: '' }],
    ['says why once somebody has', 90, { left_s: 540, held: true, reason: 'smoke' }],
    ['goes on from there, and past T-0', 645, { left_s: -5, held: false, reason: '' }],
    ['is none once it is removed', 651, undefined],
  ])('%s', (_, at_s, expected) => {
    expect(log.countdown_at(at_s)).toEqual(expected);
  });
});
