/** Everything that happened on a tape, in order: phases as spans, alerts with their life, and the events of a flight. */
import type { TapeSeconds } from '../stream/clocks';
import type { Level, TapeEvent } from '../stream/messages';

export interface PhaseSpan {
  from_s: TapeSeconds;
  /** Infinity while it lasts. */
  to_s: TapeSeconds;
  text: string;
  /** The phase's own word, "under drogue"; empty when the event does not say. */
  phase: string;
}

/** Events that every flight should have, in order. */
export const kFlightEvents = ['liftoff', 'burnout', 'apogee', 'drogue_out', 'main_out', 'touchdown'] as const;
export type FlightEventName = (typeof kFlightEvents)[number];

/** One event of a flight, back-dated to when it happened. */
export interface FlightEvent {
  name: string;
  t_s: TapeSeconds;
  /** 1-sigma of `t_s`. */
  sigma_s: number;
}

/** What changes the phase of a flight. */
const kOfFlight: ReadonlySet<string> = new Set([
  ...kFlightEvents,
  'false_liftoff',
  'signal_lost',
  'signal_reacquired',
  'ready_again',
  'joined_in_flight',
]);

interface Flight {
  from_s: TapeSeconds;
  events: FlightEvent[];
}

const kLevelOrder: Readonly<Record<Level, number>> = { warning: 0, caution: 1, advisory: 2, note: 3 };

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
      const { phase } = event.data;
      spans.push({
        from_s: event.t_s,
        to_s: Infinity,
        text: event.text,
        phase: typeof phase === 'string' ? phase : '',
      });
    }
    return spans;
  }

  phase_at(vehicle: number, t_s: TapeSeconds): PhaseSpan | undefined {
    return this.phases(vehicle).findLast((span) => span.from_s <= t_s);
  }

  /** Events of the flight that `at_s` stands in: a flight lasts until the vehicle is ready for another. */
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

  /** Why a vehicle has no such estimate, in the server's sentence; empty when the recording does not say. */
  why_missing(vehicle: number, estimate: string): string {
    const is_it = (event: TapeEvent): boolean =>
      event.event === 'estimate_missing' && event.vehicle === vehicle && event.data['estimate'] === estimate;
    return this.events.findLast(is_it)?.text ?? '';
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
      const { event: name, t_s, t_sigma_s: sigma_s } = event;
      if (name === 'ready_again') flights.push((flight = { from_s: t_s, events: [] }));
      if (name === 'false_liftoff') flight.events.length = 0;
      if (kOfFlight.has(name) && flight.events.every((other) => other.name !== name))
        flight.events.push({ name, t_s, sigma_s });
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
