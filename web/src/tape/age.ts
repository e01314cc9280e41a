/** When a row is too old to be shown as what is. */
import type { Table } from '../stream/description';

/** The one rule: old after three periods of its source, and never before 2 s, which every vehicle's radio loses now and then. */
const kOld_s = 2;
const kOldPeriods = 3;
export const old_after_s = (period_s: number): number => Math.max(kOld_s, kOldPeriods * period_s);

/** By that rule, of what goes by fixes: they come once a second or more often. */
export const kFixOld_s = 3;

/** Age beyond which a row of this table is stale. Tables without a period hold until the next row. */
export const stale_after_s = ({ period_s }: Table): number => (period_s > 0 ? old_after_s(period_s) : Infinity);

const kPredictionPeriod_s = 0.5;

/** Of a table of predictions. */
export const is_prediction = ({ kind, period_s }: Table): boolean =>
  kind === 'estimate' && period_s >= kPredictionPeriod_s;

/** Predictions on the rail come every 10 s: how long a line holds for the next, and how long figures are believed. */
export const kRailLine_s = 12;
export const kRailFigures_s = 25;
