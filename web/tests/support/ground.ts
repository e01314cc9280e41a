/** Checks, procedures and boards for tests. */
import type { Column } from '../../src/stream/description';
import type { Check, Procedure, Step } from '../../src/stream/ground';
import { column, table, words } from './builders';

export const check = (id: string, more: Partial<Check> = {}): Check => ({
  id,
  title: id,
  why: '',
  severity: 'must',
  required: '',
  statement: false,
  entered: '',
  least: NaN,
  most: NaN,
  room: NaN,
  vehicle: '',
  table: '',
  column: '',
  ...more,
});

export const step = (id: string, more: Partial<Step> = {}): Step => ({
  id,
  kind: 'instruct',
  title: id,
  text: '',
  caution: '',
  checks: [],
  ...more,
});

export const procedure = (id: string, steps: readonly Step[], checks: readonly Check[] = []): Procedure => ({
  id,
  title: 'Separation test',
  steps,
  checks,
});

export const kStates = { waits: 0, holds: 1, fails: 2, not_evaluated: 3 } as const;

const columns_of = (id: string, unit: string, decimals: number): Column[] => [
  column(id, unit, { decimals }),
  column(`${id}_margin`, unit, { decimals }),
  words(`${id}_state`, id, ...Object.keys(kStates)),
];

/** A table of checks, each with its unit and decimals. */
export const check_table = (name: string, checks: Readonly<Record<string, readonly [string, number]>>) =>
  table(
    `v/${name}`,
    'estimate',
    Object.entries(checks).flatMap(([id, [unit, decimals]]) => columns_of(id, unit, decimals)),
  );

/** The cells of a check in a row. */
export const cells = (
  id: string,
  state: keyof typeof kStates,
  value = NaN,
  margin = NaN,
): Readonly<Record<string, number>> => ({ [id]: value, [`${id}_margin`]: margin, [`${id}_state`]: kStates[state] });
