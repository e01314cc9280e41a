/** When a row is too old to be shown as what is. */
import type { Table } from '../stream/description';

const kStaleMin_s = 1.0; // a value this young is never called stale, whatever its period
const kStalePeriods = 4;

/** Age beyond which a row of this table is stale. Tables without a period hold until the next row. */
export function stale_after_s(table: Table): number {
  return table.period_s > 0 ? Math.max(kStaleMin_s, kStalePeriods * table.period_s) : Infinity;
}
