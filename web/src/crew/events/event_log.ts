/** The event log up to the cursor, newest first, each thing said once. */
import type { TapeEvent } from '../../stream/messages';
import type { Tape } from '../../tape/tape';
import { capital } from '../../text/format';
import { event_clock } from './event_clock';

export interface EventRow {
  event: TapeEvent;
  clock: string;
  text: string;
  /** Another vehicle's title; empty for the one that is looked at, and for the station. */
  whose: string;
}

/** What an operator wrote, and may write again. */
export const can_change = (event: TapeEvent): boolean => /^(marker|note)\//.test(event.key);

const kShown = 60; // the tape shows all of them
const kSame_s = 0.5;

export function select_events(tape: Tape, vehicle: number): EventRow[] {
  const { vehicles } = tape.description;
  return tape.log.events
    .filter((event) => event.t_s <= tape.cursor_s && !said_by_another(tape, event))
    .slice(-kShown)
    .reverse()
    .map((event) => ({
      event,
      clock: event_clock(tape, vehicle, event.t_s),
      text: capital(event.text),
      whose: event.vehicle >= 0 && event.vehicle !== vehicle ? (vehicles[event.vehicle]?.title ?? '') : '',
    }));
}

/**
 * A phase begins with a flight event: "Burnout" and "coasting" at one moment are one thing that happened. So are the
 * pulse and the shock of one charge, and the state of a link and the alert about it.
 */
function said_by_another(tape: Tape, event: TapeEvent): boolean {
  if (event.kind === 'phase')
    return tape.log.flight_events(event.vehicle, event.t_s).some((other) => other.t_s === event.t_s);
  // What the readiness board finds stands on the board.
  if (event.event === 'check_decided') return event.data['procedure'] === undefined;
  if (event.kind === 'link_state')
    return tape.log.events.some(
      (other) => /^alert_(raised|cleared)$/.test(other.kind) && other.text === event.text && same_time(other, event),
    );
  if (event.event !== 'shock') return false;
  return tape.log.events.some(
    (other) => other.event === 'pressure_pulse' && other.vehicle === event.vehicle && same_time(other, event),
  );
}

const same_time = (a: TapeEvent, b: TapeEvent): boolean => Math.abs(a.t_s - b.t_s) <= kSame_s;
