/** When a row is too old to be shown as what is. */
import type { Table } from '../stream/description';

const kStaleMin_s = 1.6; // a value this young is never called stale: a sensor may speak once a second
const kStalePeriods = 4;

/** Age beyond which a row of this table is stale. Tables without a period hold until the next row. */
export function stale_after_s(table: Table): number {
  return table.period_s > 0 ? Math.max(kStaleMin_s, kStalePeriods * table.period_s) : Infinity;
}

/** Predictions on the rail come every 10 s: how long a line holds for the next, and how long figures are believed. */
export const kRailLine_s = 12;
export const kRailFigures_s = 25;
