/** Everything that happened on a tape, in order: phases as spans, alerts with their life, and the events of a flight. */
import type { TapeSeconds } from '../stream/clocks';
import type { Json } from '../stream/json';
import type { Level, TapeEvent } from '../stream/messages';
import { capital } from '../text/format';

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

/** One sentence on how things stand with a vehicle. */
export interface Sentence {
  text: string;
  level: Level;
  /** When it was said; NaN for one that was made here, from the phase. */
  t_s: TapeSeconds;
  /** Its parts: the form of the sentence and the figures in it. */
  data: Json;
}

/** An alert that stands. One that latches is cleared only once it is acknowledged: the station sees to that. */
export interface Alert {
  /** What it says at present: what raised it, or raised it again at another level or for another cause. */
  event: TapeEvent;
  /** When it was raised first. */
  since_s: TapeSeconds;
  acknowledged: boolean;
  /** Until then it is put aside; NaN when it is not. */
  shelved_until_s: TapeSeconds;
}

/** Of the station, not of a vehicle. */
export interface Countdown {
  /** To T-0; negative after it. */
  left_s: number;
  held: boolean;
  /** Of a hold; empty: nobody has said. */
  reason: string;
}

interface Flight {
  from_s: TapeSeconds;
  events: FlightEvent[];
}

const kLevelOrder: Readonly<Record<Level, number>> = { warning: 0, caution: 1, advisory: 2, note: 3 };

export class EventLog {
  /** By time of happening. */
  readonly events: TapeEvent[] = [];
  /** Of every vehicle, by time. Apart from the events: they come once a second and no list shows them. */
  private readonly sentences: TapeEvent[] = [];
  version = 0;
  private readonly ids = new Set<number>();
  /** What operators wrote, newest version, by key. */
  private readonly written = new Map<string, TapeEvent>();
  private readonly flights_of = new Map<number, readonly Flight[]>();
  private flights_version = -1;

  add(event: TapeEvent): void {
    if (this.ids.has(event.id) || !Number.isFinite(event.t_s)) return;
    this.ids.add(event.id);
    if (/^(marker|note)\//.test(event.key) && !this.supersede(event)) return;
    const list = event.kind === 'sentence' ? this.sentences : this.events;
    let i = list.length;
    while (i > 0 && (list[i - 1]?.t_s ?? -Infinity) > event.t_s) i--;
    list.splice(i, 0, event);
    if (list === this.events) this.version++;
  }

  /** A marker or note with the key of an earlier one takes its place. False: it is not to be shown itself. */
  private supersede(event: TapeEvent): boolean {
    const before = this.written.get(event.key);
    if (before && before.t_found_s > event.t_found_s) return false;
    this.written.set(event.key, event);
    const place = before ? this.events.indexOf(before) : -1;
    if (place >= 0) this.events.splice(place, 1);
    this.version++;
    return event.data['taken_back'] !== true;
  }

  /** The newest sentence at `t_s`; in a recording without any a short one, made from the phase. */
  sentence_at(vehicle: number, t_s: TapeSeconds): Sentence | undefined {
    const said = this.sentences.findLast((event) => event.t_s <= t_s && event.vehicle === vehicle);
    if (said) return { text: said.text, level: said.level, t_s: said.t_s, data: said.data };
    const span = this.phase_at(vehicle, t_s);
    return span && { text: `${capital(span.text)}.`, level: 'note', t_s: NaN, data: { form: span.phase } };
  }

  /** The station's countdown as it stands at `t_s`; undefined without one. */
  countdown_at(t_s: TapeSeconds): Countdown | undefined {
    const step = this.events.findLast((event) => event.t_s <= t_s && event.event.startsWith('countdown_'));
    if (!step) return undefined;
    const { left_s, reason } = step.data;
    if (typeof left_s !== 'number') return undefined;
    const held = step.event === 'countdown_held';
    return {
      left_s: held ? left_s : left_s - t_s + step.t_s,
      held,
      reason: held && typeof reason === 'string' ? reason : '',
    };
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

  /** Alerts that stand at `t_s`, most urgent first, then oldest first. */
  alerts_at(t_s: TapeSeconds): Alert[] {
    const standing = new Map<string, Alert>();
    for (const event of this.events) {
      if (event.t_s > t_s) break;
      if (event.kind === 'alert_raised') {
        standing.set(event.key, raise(event, standing.get(event.key)));
        continue;
      }
      const alert = standing.get(event.key);
      if (!alert) continue;
      if (event.kind === 'alert_cleared') standing.delete(event.key);
      else if (event.kind === 'alert_acknowledged') alert.acknowledged = true;
      else if (event.kind === 'alert_shelved') alert.shelved_until_s = until_s(event);
      else if (event.kind === 'alert_unshelved') alert.shelved_until_s = NaN;
    }
    for (const alert of standing.values()) if (alert.shelved_until_s <= t_s) alert.shelved_until_s = NaN;
    return [...standing.values()].sort(
      (a, b) => kLevelOrder[a.event.level] - kLevelOrder[b.event.level] || a.since_s - b.since_s,
    );
  }
}

/** Raised while it stands: it has another level or cause, which nobody has acknowledged. */
function raise(event: TapeEvent, before: Alert | undefined): Alert {
  const fresh = { event, since_s: event.t_s, acknowledged: false, shelved_until_s: NaN };
  if (!before) return fresh;
  return { ...fresh, since_s: before.since_s, shelved_until_s: before.shelved_until_s };
}

/** NaN when it does not say. */
const until_s = ({ data, t_s }: TapeEvent): TapeSeconds => t_s + Number(data['for_s']);

export function find_event(events: readonly FlightEvent[], name: FlightEventName): FlightEvent | undefined {
  return events.find((event) => event.name === name);
}
