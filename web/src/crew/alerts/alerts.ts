/** Alerts that stand at the cursor, as they are listed: the vehicle's own and the station's, and those of the others. */
import type { Urgency } from '../../draw/strokes';
import type { Alert } from '../../tape/events';
import type { Tape } from '../../tape/tape';
import { capital } from '../../text/format';
import { event_clock } from '../events/event_clock';
import { shelved_words } from './wording';

export interface AlertRow {
  key: string;
  urgency: Urgency;
  text: string;
  /** What to do; empty without advice. */
  advice: string;
  since: string;
  /** Another vehicle's title; empty for the one that is looked at. */
  whose: string;
  acknowledged: boolean;
  /** For how long it is put aside; empty when it is not. */
  shelved: string;
}

export function select_alerts(tape: Tape, vehicle: number): AlertRow[] {
  return tape.log.alerts_at(tape.cursor_s).map((alert) => row_of(tape, vehicle, alert));
}

function row_of(tape: Tape, vehicle: number, { event, acknowledged, shelved_until_s }: Alert): AlertRow {
  const { vehicles } = tape.description;
  return {
    key: event.key,
    urgency: event.level === 'note' ? 'advisory' : event.level,
    text: capital(event.text),
    advice: event.advice,
    since: event_clock(tape, vehicle, event.t_s),
    whose: event.vehicle >= 0 && event.vehicle !== vehicle ? (vehicles[event.vehicle]?.title ?? '') : '',
    acknowledged,
    shelved: Number.isNaN(shelved_until_s) ? '' : shelved_words(shelved_until_s - tape.cursor_s),
  };
}
