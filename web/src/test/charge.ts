/** What the record says of an ejection charge at the cursor: when it fired, and the edges found after it. */
import type { TapeSeconds } from '../stream/clocks';
import type { Table } from '../stream/description';
import type { TapeEvent } from '../stream/messages';
import { newest_event, text_in, type CheckRow } from '../checks/rows';
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
      return [{ id, title: table.title, table, fired_s, edges: edges_of(tape, vehicle, id, fired_s) }];
    })
    .sort((a, b) => b.fired_s - a.fired_s);
}
const kSame_s = 0.5;

/** Those that the station found by the cursor, as the printed report has them. */
function edges_of(tape: Tape, vehicle: number, charge: string, fired_s: TapeSeconds): Edge[] {
  const number_in = (event: TapeEvent, name: string): number => Number(event.data[name] ?? NaN);
  return tape.log.events
    .filter(
      (event) =>
        event.event === 'edge_found' &&
        event.vehicle === vehicle &&
        event.data['charge'] === charge &&
        event.t_s >= fired_s - kSame_s &&
        event.t_s <= tape.cursor_s,
    )
    .map((event) => ({
      title: text_in(event, 'edge').replaceAll('_', ' '),
      after_ms: 1000 * number_in(event, 'after_s'),
      sigma_ms: 1000 * number_in(event, 'sigma_s'),
    }))
    .sort((a, b) => a.after_ms - b.after_ms)
    .map((edge, i) => ({ number: i + 1, ...edge }));
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
