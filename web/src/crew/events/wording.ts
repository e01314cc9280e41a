/** Words of the event log and of the table of flight events. */
import type { FlightEventName } from '../../tape/events';

export const kFlightEventTitles: Readonly<Record<FlightEventName, string>> = {
  liftoff: 'Liftoff',
  burnout: 'Burnout',
  apogee: 'Apogee',
  drogue_out: 'Drogue out',
  main_out: 'Main out',
  touchdown: 'Touchdown',
};

export const kNoAlerts = 'No active alerts';
export const kNoEvents = 'No events yet';
