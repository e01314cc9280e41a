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

const kLevelOrder: Readonly<Record<Level, number>> = { warning: 0, caution: 1, advisory: 2, note: 3 };
const kLiftOffKeys: ReadonlySet<string> = new Set(['lift_off', 'powered_ascent']);
const kOnPadKeys: ReadonlySet<string> = new Set(['withdrawn', 'on_the_pad']);

const last_part = (key: string): string => key.slice(key.lastIndexOf('/') + 1);
const sentence = (text: string): string => text.charAt(0).toUpperCase() + text.slice(1);

export class EventLog {
  /** By time of happening. */
  readonly events: FlightEvent[] = [];
  version = 0;
  private readonly ids = new Set<number>();

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
      spans.push({ from_s: event.t_s, to_s: Infinity, text: sentence(event.text), key: event.key, sigma_s: event.t_sigma_s });
    }
    return spans;
  }

  phase_at(vehicle: number, t_s: number): PhaseSpan | undefined {
    return this.phases(vehicle).findLast((span) => span.from_s <= t_s);
  }

  /** Time of lift-off, T-zero of the flight clock; one that was taken back does not count. */
  lift_off_s(vehicle: number): number | undefined {
    let zero_s: number | undefined;
    for (const event of this.events) {
      if ((event.kind !== 'phase' && event.kind !== 'flight_event') || (vehicle >= 0 && event.vehicle >= 0 && event.vehicle !== vehicle)) continue;
      const word = last_part(event.key);
      if (kLiftOffKeys.has(word)) zero_s ??= event.t_s;
      else if (kOnPadKeys.has(word)) zero_s = undefined;
    }
    return zero_s;
  }

  /** The server's sentence on why a vehicle has no such estimate; empty when it says nothing. */
  missing(vehicle_name: string, estimate: string): string {
    return this.events.findLast((event) => event.key === `${vehicle_name}/missing/${estimate}`)?.text ?? '';
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
