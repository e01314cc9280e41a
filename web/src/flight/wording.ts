/** What the views of a flight say of estimates that there are not: from the event's data and the roles' titles. */
import type { MissingEstimate } from '../tape/events';
import type { Tape } from '../tape/tape';
import { list_of } from '../text/format';

const kEstimateWords: Readonly<Record<string, string>> = {
  air: 'air-data',
  ascent: 'apogee',
  look_angles: 'look-angle',
};

/** "No air-data estimate: needs static pressure". */
export function missing_words(missing: MissingEstimate, roles: ReadonlyMap<string, string>): string {
  const { estimate, needs, any } = missing;
  return `No ${kEstimateWords[estimate] ?? estimate} estimate: ${needs_words(needs, roles, any)}`;
}

/** "needs latitude and longitude". */
export function needs_words(needs: readonly string[], roles: ReadonlyMap<string, string>, any = false): string {
  const titles = needs.map((role) => roles.get(role) ?? role);
  return `needs ${list_of(titles, any ? 'or' : 'and')}`;
}

/** Why a vehicle has no such estimate; empty when the recording does not say. */
export function why_missing(tape: Tape, vehicle: number, estimate: string): string {
  const missing = tape.log.missing(tape.description.vehicles[vehicle]?.name ?? '', estimate);
  return missing ? missing_words(missing, tape.roles) : '';
}
