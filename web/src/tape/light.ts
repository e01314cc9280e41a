/**
 * What a small view draws of the past: the altitude, the way flown, and whether anything was received at all. The rest of
 * a long recording is megabytes that a phone would load for nothing.
 */
import type { Description } from '../stream/description';
import { estimate_refs } from './estimates';
import { find_role } from './roles';

/** Places of columns by table. */
export type Places = ReadonlyMap<number, readonly number[]>;

const kReceived = ['static_pressure', 'accel_body_x', 'onboard_altitude'];

export function light_columns(description: Description): Places {
  const found = new Map<number, number[]>();
  description.vehicles.forEach((_, vehicle) => {
    const heard = kReceived.map((role) => find_role(description, role, vehicle)).find((ref) => ref !== undefined);
    for (const { table, column } of [
      ...estimate_refs(description, vehicle, 'vertical', ['altitude_m']),
      ...estimate_refs(description, vehicle, 'navigation', ['east_m', 'north_m']),
      ...(heard ? [heard] : []),
    ])
      found.set(table.id, [...(found.get(table.id) ?? []), column]);
  });
  return found;
}
