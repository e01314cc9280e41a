/** Everything that happened on a tape, in order: phases as spans, alerts with their life, markers, and lift-off. */
import type { FlightEvent, Level } from '../stream/messages';

export interface PhaseSpan {
  from_s: number;
  /** Infinity while it lasts. */
  to_s: number;
  text: string;
  key: string;
  /** 1-sigma of `from_s`. */
  sigma_s: number;
}

/** One moment of a flight, back-dated to when it happened. */
export interface FlightMoment {
  /** Last part of its key: "lift_off", "apogee". */
  word: string;
  t_s: number;
  /** 1-sigma of `t_s`. */
  sigma_s: number;
}

interface Flight {
  from_s: number;
  moments: FlightMoment[];
}

const kLevelOrder: Readonly<Record<Level, number>> = { warning: 0, caution: 1, advisory: 2, note: 3 };

const last_part = (key: string): string => key.slice(key.lastIndexOf('/') + 1);
const sentence = (text: string): string => text.charAt(0).toUpperCase() + text.slice(1);

export class EventLog {
  /** By time of happening. */
  readonly events: FlightEvent[] = [];
  version = 0;
  private readonly ids = new Set<number>();
  private readonly flights_of = new Map<number, readonly Flight[]>();
  private flights_version = -1;

  add(event: FlightEvent): void {
    if (this.ids.has(event.id) || !Number.isFinite(event.t_s)) return;
    this.ids.add(event.id);
    let i = this.events.length;
    while (i > 0 && (this.events[i - 1]?.t_s ?? -Infinity) > event.t_s) i--;
    this.events.splice(i, 0, event);
    this.version++;
  }

  clear(): void {
    this.events.length = 0;
    this.ids.clear();
    this.version++;
  }

  /** `vehicle` -1 takes those of every vehicle. */
  phases(vehicle: number): PhaseSpan[] {
    const spans: PhaseSpan[] = [];
    for (const event of this.events) {
      if (event.kind !== 'phase' || (vehicle >= 0 && event.vehicle >= 0 && event.vehicle !== vehicle)) continue;
      const before = spans.at(-1);
      if (before) before.to_s = event.t_s;
      spans.push({
        from_s: event.t_s,
        to_s: Infinity,
        text: sentence(event.text),
        key: event.key,
        sigma_s: event.t_sigma_s,
      });
    }
    return spans;
  }

  phase_at(vehicle: number, t_s: number): PhaseSpan | undefined {
    return this.phases(vehicle).findLast((span) => span.from_s <= t_s);
  }

  /** Moments of the flight that `at_s` stands in: a flight lasts from being on the pad to being there again. */
  moments(vehicle: number, at_s = Infinity): readonly FlightMoment[] {
    const flights = this.flights(vehicle);
    return (flights.findLast((flight) => flight.from_s <= at_s) ?? flights[0])?.moments ?? [];
  }

  /** Time of lift-off, T-zero of the flight clock; one that was taken back does not count. */
  lift_off_s(vehicle: number, at_s = Infinity): number | undefined {
    return this.moments(vehicle, at_s).find((moment) => moment.word === 'lift_off')?.t_s;
  }

  /** The server's sentence on why a vehicle has no such estimate; empty when it says nothing. */
  missing(vehicle_name: string, estimate: string): string {
    return this.events.findLast((event) => event.key === `${vehicle_name}/missing/${estimate}`)?.text ?? '';
  }

  /** A lift-off that was taken back leaves nothing. */
  private flights(vehicle: number): readonly Flight[] {
    if (this.flights_version !== this.version) {
      this.flights_version = this.version;
      this.flights_of.clear();
    }
    const known = this.flights_of.get(vehicle);
    if (known) return known;
    let flight: Flight = { from_s: -Infinity, moments: [] };
    const flights = [flight];
    for (const event of this.events) {
      if (vehicle >= 0 && event.vehicle >= 0 && event.vehicle !== vehicle) continue;
      const word = last_part(event.key);
      const add = (moment: string): void => {
        if (flight.moments.every((other) => other.word !== moment))
          flight.moments.push({ word: moment, t_s: event.t_s, sigma_s: event.t_sigma_s });
      };
      if (event.kind === 'phase' && word === 'on_the_pad') flights.push((flight = { from_s: event.t_s, moments: [] }));
      else if (event.kind === 'phase' && word === 'powered_ascent') add('lift_off');
      else if (event.kind === 'flight_event' && word === 'withdrawn') flight.moments.length = 0;
      else if (event.kind === 'flight_event' && event.key.endsWith(`/flight/${word}`)) add(word);
    }
    this.flights_of.set(vehicle, flights);
    return flights;
  }

  /** Alerts raised and not cleared at `t_s`, most urgent first, then oldest first. */
  active_alerts(t_s: number): FlightEvent[] {
    const active = new Map<string, FlightEvent>();
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
