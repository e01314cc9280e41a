/** Words of the event log and of the table of flight events. */
import type { TapeEvent } from '../../stream/messages';
import { missing_estimate, type FlightEventName } from '../../tape/events';
import { capital } from '../../text/format';
import { missing_words } from '../wording';

export const kFlightEventTitles: Readonly<Record<FlightEventName, string>> = {
  liftoff: 'Liftoff',
  burnout: 'Burnout',
  apogee: 'Apogee',
  drogue_out: 'Drogue out',
  main_out: 'Main out',
  touchdown: 'Touchdown',
};

/** The server's sentence; what is missing is said with the titles of its roles. */
export function event_words(event: TapeEvent, roles: ReadonlyMap<string, string>): string {
  const missing = missing_estimate(event);
  return missing ? missing_words(missing, roles) : capital(event.text);
}
