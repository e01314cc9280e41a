/** What the record says of an ejection charge at the cursor: when it fired, and the edges found after it. */
import type { TapeSeconds } from '../stream/clocks';
import type { Column, Table } from '../stream/description';
import { newest_event, type CheckRow } from '../checks/rows';
import type { Tape } from '../tape/tape';

export interface Edge {
  number: number;
  title: string;
  after_ms: number;
  /** NaN: not given. */
  sigma_ms: number;
}

export interface Charge {
  id: string;
  title: string;
  table: Table;
  fired_s: TapeSeconds;
  edges: readonly Edge[];
}

/** Columns of a charge's table, by the name without its unit. */
export function charge_column(table: Table, name: string): number {
  return table.columns.findIndex(
    (column) => column.name === name || kUnits.some((unit) => column.name === name + unit),
  );
}
const kUnits = ['_s', '_pa', '_mps2', '_radps', '_deg', '_v'];

/** In the order in which they happen. */
const kEdges: readonly (readonly [string, string])[] = [
  ['pulse_begins', 'pulse begins'],
  ['lid_off', 'lid off'],
  ['line_taut', 'line taut'],
  ['settled', 'settled'],
];

const kFolder = '/charge/';

/** Tables of charges that a vehicle has, fired or not. */
export function charge_tables(tape: Tape, vehicle: number): Table[] {
  const begin = `${tape.description.vehicles[vehicle]?.name ?? ''}${kFolder}`;
  return tape.description.tables.filter((table) => table.name.startsWith(begin));
}

export const charge_id = (table: Table): string => table.name.slice(table.name.indexOf(kFolder) + kFolder.length);

/** Charges that have fired, the newest first. */
export function charges_at(tape: Tape, vehicle: number): Charge[] {
  return charge_tables(tape, vehicle)
    .flatMap((table): Charge[] => {
      const id = charge_id(table);
      const row_s = table.number_count > 0 ? tape.value_at_cursor(table.id, 0).t_s : NaN;
      const event = newest_event(tape, vehicle, 'charge_fired', { charge: id });
      // The table's row says it best; until there is one, the event.
      const fired_s = event && !(row_s >= event.t_s - kSame_s) ? event.t_s : row_s;
      if (!Number.isFinite(fired_s)) return [];
      return [{ id, title: table.title, table, fired_s, edges: fired_s === row_s ? edges_of(tape, table) : [] }];
    })
    .sort((a, b) => b.fired_s - a.fired_s);
}
const kSame_s = 0.5;

function edges_of(tape: Tape, table: Table): Edge[] {
  const fired = { number: 1, title: 'fired', after_ms: 0, sigma_ms: NaN };
  const found = kEdges.flatMap(([name, title]) => {
    const place = charge_column(table, name);
    const after_s = place < 0 ? NaN : tape.value_at_cursor(table.id, place).value;
    if (!Number.isFinite(after_s)) return [];
    const sigma = sigma_place(table, table.columns[place]);
    const sigma_s = sigma < 0 ? NaN : tape.value_at_cursor(table.id, sigma).value;
    return [{ number: 0, title, after_ms: 1000 * after_s, sigma_ms: 1000 * sigma_s }];
  });
  return [fired, ...found].sort((a, b) => a.after_ms - b.after_ms).map((edge, i) => ({ ...edge, number: i + 1 }));
}

function sigma_place(table: Table, column: Column | undefined): number {
  const name = column?.sigma_column ?? (column ? `${column.name}_sigma` : '');
  return table.columns.findIndex((one) => one.name === name);
}

export interface Limit {
  value: number;
  /** What is measured has to be at least this, not at most. */
  is_least: boolean;
}

/** The limit of a check; of two the one that is nearer to what was measured, or the most while nothing was. */
export function limit_of({ check: { least, most }, value }: Pick<CheckRow, 'check' | 'value'>): Limit | undefined {
  const is_least = Number.isFinite(least) && !(Number.isFinite(most) && !(value - least < most - value));
  const limit = is_least ? least : most;
  return Number.isFinite(limit) ? { value: limit, is_least } : undefined;
}
