/** What a log's columns are taken for. Pure. */
import type { Description } from '../stream/description';
import { kPlainColumn, type MappedColumn, type Mapping } from '../stream/imports';

export interface Channel {
  /** "imu.samples.accel_body_x" */
  name: string;
  title: string;
  unit: string;
}

/** What a vehicle's packets hold. */
export function channels_of({ tables, vehicles }: Description, vehicle: string): Channel[] {
  const place = vehicles.findIndex(({ name }) => name === vehicle);
  return tables
    .filter((table) => table.vehicle === place && (table.kind === 'packet' || table.kind === 'batch'))
    .flatMap((table) =>
      table.columns.map((column) => ({
        name: `${table.name.slice(vehicle.length + 1)}.${column.name}`,
        title: table.title === '' ? column.title : `${table.title}: ${column.title}`,
        unit: column.unit,
      })),
    );
}

/** The mapping with one column taken for something else. */
export function with_column(mapping: Mapping, column: string, change: Partial<MappedColumn>): Mapping {
  const before = mapping.columns.find((one) => one.column === column);
  const after = { ...kPlainColumn, column, ...before, ...change };
  return {
    ...mapping,
    columns: before ? mapping.columns.map((one) => (one === before ? after : one)) : [...mapping.columns, after],
  };
}
