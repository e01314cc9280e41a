/** Everything that happened on a tape, in order: phases as spans, alerts with their life, and the events of a flight. */
import type { TapeSeconds } from '../stream/clocks';
import type { Level, TapeEvent } from '../stream/messages';

export interface PhaseSpan {
  from_s: TapeSeconds;
  /** Infinity while it lasts. */
  to_s: TapeSeconds;
  text: string;
  /** Its key's last part: "under_drogue". */
  name: string;
}

/** Names of the events that every flight should have, in order. */
export const kFlightEvents = ['liftoff', 'burnout', 'apogee', 'drogue_out', 'main_out', 'touchdown'] as const;
export type FlightEventName = (typeof kFlightEvents)[number];

/** One event of a flight, back-dated to when it happened. */
export interface FlightEvent {
  name: string;
  t_s: TapeSeconds;
  /** 1-sigma of `t_s`. */
  sigma_s: number;
}

/** Why a vehicle has no such estimate: roles that its dictionary does not give. */
export interface MissingEstimate {
  estimate: string;
  needs: readonly string[];
  /** True: one of them would do; false: all are needed. */
  any: boolean;
}

interface Flight {
  from_s: TapeSeconds;
  events: FlightEvent[];
}

const kLevelOrder: Readonly<Record<Level, number>> = { warning: 0, caution: 1, advisory: 2, note: 3 };

const last_part = (key: string): string => key.slice(key.lastIndexOf('/') + 1);

export function missing_estimate(event: TapeEvent): MissingEstimate | undefined {
  const { estimate, needs, any } = event.data;
  if (typeof estimate !== 'string' || !Array.isArray(needs) || !event.key.endsWith(`/missing/${estimate}`))
    return undefined;
  return { estimate, needs: needs.filter((role) => typeof role === 'string'), any: any === true };
}

export class EventLog {
  /** By time of happening. */
  readonly events: TapeEvent[] = [];
  version = 0;
  private readonly ids = new Set<number>();
  private readonly flights_of = new Map<number, readonly Flight[]>();
  private flights_version = -1;

  add(event: TapeEvent): void {
    if (this.ids.has(event.id) || !Number.isFinite(event.t_s)) return;
    this.ids.add(event.id);
    let i = this.events.length;
    while (i > 0 && (this.events[i - 1]?.t_s ?? -Infinity) > event.t_s) i--;
    this.events.splice(i, 0, event);
    this.version++;
  }

  /** `vehicle` -1 takes those of every vehicle. */
  phases(vehicle: number): PhaseSpan[] {
    const spans: PhaseSpan[] = [];
    for (const event of this.events) {
      if (event.kind !== 'phase' || (vehicle >= 0 && event.vehicle >= 0 && event.vehicle !== vehicle)) continue;
      const before = spans.at(-1);
      if (before) before.to_s = event.t_s;
      spans.push({ from_s: event.t_s, to_s: Infinity, text: event.text, name: last_part(event.key) });
    }
    return spans;
  }

  phase_at(vehicle: number, t_s: TapeSeconds): PhaseSpan | undefined {
    return this.phases(vehicle).findLast((span) => span.from_s <= t_s);
  }

  /** Events of the flight that `at_s` stands in: a flight lasts from being on the rail to being there again. */
  flight_events(vehicle: number, at_s: TapeSeconds = Infinity): readonly FlightEvent[] {
    const flights = this.flights(vehicle);
    return (flights.findLast((flight) => flight.from_s <= at_s) ?? flights[0])?.events ?? [];
  }

  /** Those that have happened by `at_s`. */
  happened(vehicle: number, at_s: TapeSeconds): readonly FlightEvent[] {
    return this.flight_events(vehicle, at_s).filter((event) => event.t_s <= at_s);
  }

  /** Time of liftoff, zero of T+; one that was withdrawn does not count. */
  liftoff_s(vehicle: number, at_s: TapeSeconds = Infinity): TapeSeconds | undefined {
    return find_event(this.flight_events(vehicle, at_s), 'liftoff')?.t_s;
  }

  missing(vehicle_name: string, estimate: string): MissingEstimate | undefined {
    const event = this.events.findLast((one) => one.key === `${vehicle_name}/missing/${estimate}`);
    return event && missing_estimate(event);
  }

  /** A liftoff that was withdrawn leaves nothing. */
  private flights(vehicle: number): readonly Flight[] {
    if (this.flights_version !== this.version) {
      this.flights_version = this.version;
      this.flights_of.clear();
    }
    const known = this.flights_of.get(vehicle);
    if (known) return known;
    let flight: Flight = { from_s: -Infinity, events: [] };
    const flights = [flight];
    for (const event of this.events) {
      if (vehicle >= 0 && event.vehicle >= 0 && event.vehicle !== vehicle) continue;
      const word = last_part(event.key);
      const add = (name: string): void => {
        if (flight.events.every((other) => other.name !== name))
          flight.events.push({ name, t_s: event.t_s, sigma_s: event.t_sigma_s });
      };
      if (event.kind === 'phase' && word === 'on_the_rail') flights.push((flight = { from_s: event.t_s, events: [] }));
      else if (event.kind === 'phase' && word === 'under_thrust') add('liftoff');
      else if (event.kind === 'flight_event' && word === 'false_liftoff') flight.events.length = 0;
      else if (event.kind === 'flight_event' && event.key.endsWith(`/flight/${word}`)) add(word);
    }
    this.flights_of.set(vehicle, flights);
    return flights;
  }

  /** Alerts raised and not cleared at `t_s`, most urgent first, then oldest first. */
  active_alerts(t_s: TapeSeconds): TapeEvent[] {
    const active = new Map<string, TapeEvent>();
    for (const event of this.events) {
      if (event.t_s > t_s) break;
      if (event.kind === 'alert_raised') {
        if (!active.has(event.key)) active.set(event.key, event);
      } else if (event.kind === 'alert_cleared') {
        active.delete(event.key);
      }
    }
    return [...active.values()].sort((a, b) => kLevelOrder[a.level] - kLevelOrder[b.level] || a.t_s - b.t_s);
  }
}

export function find_event(events: readonly FlightEvent[], name: FlightEventName): FlightEvent | undefined {
  return events.find((event) => event.name === name);
}
