/** The event log: phases as spans, the events of the flight that the cursor stands in, alerts of a moment. */
import { describe, expect, it } from 'vitest';
import { EventLog, kFlightEvents, missing_estimate } from '../../src/tape/events';
import { event } from '../support/builders';

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
  it('makes spans of phases and the zero of T+ from liftoff', () => {
    const log = logged(
      event(1, 0, 'phase', 'v/phase/on_the_rail'),
      event(2, 12.5, 'phase', 'v/phase/under_thrust'),
      event(3, 14.6, 'phase', 'v/phase/coasting'),
    );
    expect(log.phases(0).map((p) => [p.from_s, p.to_s])).toEqual([
      [0, 12.5],
      [12.5, 14.6],
      [14.6, Infinity],
    ]);
    expect([log.liftoff_s(0), log.liftoff_s(1)]).toEqual([12.5, undefined]);
    log.add(event(4, 15, 'phase', 'v/phase/on_the_rail'));
    expect(log.liftoff_s(0), 'back on the rail').toBeUndefined();
    expect(log.phase_at(0, 13)?.key).toBe('v/phase/under_thrust');
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
    log.add(event(from_id, t_s, 'flight_event', 'v/flight/liftoff'));
    log.add(event(from_id + 1, t_s, 'phase', 'v/phase/under_thrust'));
    log.add(event(from_id + 2, t_s + 10, 'flight_event', 'v/flight/apogee', { t_sigma_s: 0.3 }));
    log.add(event(from_id + 3, t_s + 60, 'flight_event', 'v/flight/touchdown'));
  };
  const said = (log: EventLog, at_s?: number): string[] => log.flight_events(0, at_s).map((e) => `${e.name} ${e.t_s}`);

  it('are those of the flight that the cursor stands in', () => {
    const log = logged(event(1, 0, 'phase', 'v/phase/on_the_rail'));
    flown(log, 10, 30);
    log.add(event(20, 300, 'phase', 'v/phase/on_the_rail'));
    const first = ['liftoff 30', 'apogee 40', 'touchdown 90'];
    expect([said(log), said(log, 299), said(log, 5)]).toEqual([[], first, first]);
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
    const log = logged(
      event(1, 0, 'phase', 'v/phase/on_the_rail'),
      event(2, 10, 'flight_event', 'v/flight/liftoff'),
      event(3, 12, 'flight_event', 'v/flight/false_liftoff'),
      event(4, 12, 'phase', 'v/phase/on_the_rail'),
    );
    expect([log.liftoff_s(0), log.liftoff_s(0, 11)]).toEqual([undefined, undefined]);
  });
  it('do not mix vehicles, and are the same in whatever order events come', () => {
    const log = logged(
      event(3, 20, 'flight_event', 'v/flight/apogee'),
      event(2, 7, 'flight_event', 'w/flight/liftoff', { vehicle: 1 }),
      event(1, 10, 'flight_event', 'v/flight/liftoff'),
    );
    expect([said(log), log.liftoff_s(1)]).toEqual([['liftoff 10', 'apogee 20'], 7]);
  });
  it('take each name from the last part of its key', () => {
    const log = logged(...kFlightEvents.map((name, i) => event(i, i, 'flight_event', `v/flight/${name}`)));
    expect(log.flight_events(0).map((one) => one.name)).toEqual([...kFlightEvents]);
  });
});

describe('a missing estimate', () => {
  const data = { estimate: 'air', needs: ['static_pressure'], any: false };
  it('is read from its data', () => {
    const log = logged(event(1, 0, 'recording', 'v/missing/air', { data }));
    expect(log.missing('v', 'air')).toEqual(data);
    expect([log.missing('w', 'air'), log.missing('v', 'vertical')]).toEqual([undefined, undefined]);
  });
  it.each([
    ['no data', 'v/missing/air', {}],
    ['needs that are not a list', 'v/missing/air', { ...data, needs: 'static_pressure' }],
    ['a key of another estimate', 'v/missing/vertical', data],
  ])('is not made up from %s', (_, key, odd) =>
    expect(missing_estimate(event(1, 0, 'recording', key, { data: odd }))).toBeUndefined(),
  );
});
