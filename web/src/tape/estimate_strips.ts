/** What strips need of the estimators' tables: which columns are drawn, and with what beside them. */
import type { Column, Description, Limit, Table } from '../stream/description';
import { is_estimate, type ColumnOf } from './estimates';
import { find_role, type ColumnRef } from './roles';

const kClocks: readonly ColumnOf<'phase'>[] = ['time_in_phase_s', 'time_since_liftoff_s'];

/** Clocks that only run: the phase readout and the header say them; as a line they say nothing. */
export function is_running_clock(table: Table, column: Column): boolean {
  return is_estimate(table, 'phase') && kClocks.some((name) => name === column.name);
}

/** Heights at which parachutes are to open, beside the altitude on its way down. */
export function opening_limits(description: Description, table: Table, column: Column): Limit[] {
  if (!is_estimate(table, 'vertical') || column.name !== 'altitude_m') return [];
  return (description.vehicles[table.vehicle]?.parachutes ?? []).flatMap(({ name, below_m }) =>
    Number.isNaN(below_m) ? [] : [{ side: 'low' as const, level: 'opens' as const, value: below_m, name }],
  );
}

const kOnboardRoles: Partial<Record<ColumnOf<'vertical'>, string>> = {
  altitude_m: 'onboard_altitude',
  vertical_speed_mps: 'onboard_vertical_speed',
};

/** The vehicle's own value of what the ground estimates, when it sends one. */
export function onboard_counterpart(description: Description, table: Table, column: Column): ColumnRef | undefined {
  if (!is_estimate(table, 'vertical')) return undefined;
  const role = Object.entries(kOnboardRoles).find(([name]) => name === column.name)?.[1];
  return role === undefined ? undefined : find_role(description, role, table.vehicle);
}
