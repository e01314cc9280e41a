/** The event log: phases as spans, the events of the flight that the cursor stands in, alerts of a moment. */
import { describe, expect, it } from 'vitest';
import { EventLog, kFlightEvents } from '../../src/tape/events';
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
    expect(log.active_alerts(0.5)).toEqual([]);
    expect(log.active_alerts(2.5).map((a) => a.key)).toEqual(['b', 'a']);
    expect(log.active_alerts(9).map((a) => a.key)).toEqual(['b']);
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
  expect(log.why_missing(0, 'air')).toBe('No air-data estimate: needs static pressure');
  expect([log.why_missing(1, 'air'), log.why_missing(0, 'vertical')]).toEqual(['', '']);
});
