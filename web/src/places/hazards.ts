/** What of a vehicle may still be live when somebody walks up to it, as far as it was heard. */
import type { Tape } from '../tape/tape';
import type { FlightEventName } from '../tape/events';

export interface LiveCharge {
  /** Of the igniter's channel, or of the parachute. */
  title: string;
  /** Its igniter still conducts, or its parachute was not seen to open. */
  why: 'conducts' | 'not_seen';
}

const kContinuityRole = 'pyro_continuity';
const kParachutes: readonly (readonly [FlightEventName, string])[] = [
  ['drogue_out', 'Drogue'],
  ['main_out', 'Main'],
];

/** Nothing before liftoff: on the rail every charge is live, and the pad has its own procedure. */
export function live_charges(tape: Tape, vehicle: number): LiveCharge[] {
  const happened = tape.log.happened(vehicle, tape.cursor_s).map((event) => event.name);
  if (!happened.includes('liftoff')) return [];
  const conducting: LiveCharge[] = [];
  for (const table of tape.description.tables) {
    if (table.vehicle !== vehicle) continue;
    table.columns.forEach((column, i) => {
      if (column.role === kContinuityRole && tape.value_at_cursor(table.id, i).value > 0)
        conducting.push({ title: column.title, why: 'conducts' });
    });
  }
  if (!happened.includes('apogee') && !happened.includes('touchdown')) return conducting;
  const rocket = tape.description.vehicles[vehicle]?.rocket ?? false;
  const unseen = kParachutes.filter(([name]) => rocket && !happened.includes(name));
  return [...conducting, ...unseen.map(([, title]): LiveCharge => ({ title, why: 'not_seen' }))];
}
