/** Channels by their role in the vehicle's dictionary. */
import type { Description, Table } from '../stream/description';

/** A column of a table. */
export interface ColumnRef {
  table: Table;
  column: number;
}

/** The first column of a vehicle with this role. */
export function find_role(description: Description, role: string, vehicle: number): ColumnRef | undefined {
  for (const table of description.tables) {
    if (table.vehicle !== vehicle) continue;
    const column = table.columns.findIndex((c) => c.role === role && !c.text);
    if (column >= 0) return { table, column };
  }
  return undefined;
}
