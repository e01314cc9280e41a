/** What a log's columns are taken for. Pure. */
import type { Description } from '../stream/description';
import { kPlainColumn, type MappedColumn, type Mapping } from '../stream/imports';
import { shown_unit } from '../text/units';

export interface Channel {
  /** "imu.samples.accel_body_x" */
  name: string;
  title: string;
  /** Of its values as they are kept, which a file's are multiplied into: pascals, where the page shows hectopascals. */
  unit: string;
}

function kept_unit(unit: string): string {
  const { symbol, gain, offset } = shown_unit(unit);
  return gain === 1 && offset === 0 ? symbol : unit;
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
        unit: kept_unit(column.unit),
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
