/** Checks as they stand at the cursor: each is three columns of its table, and for a statement what a person said. */
import type { TapeSeconds } from '../stream/clocks';
import type { Column, Table } from '../stream/description';
import type { Check } from '../stream/ground';
import type { TapeEvent } from '../stream/messages';
import type { Tape } from '../tape/tape';
import { figure_words, margin_words } from './figures';
import { kNotSaid, kStateWords, said_words } from './wording';

export type CheckState = 'waits' | 'holds' | 'fails' | 'not_evaluated';

export interface CheckRow {
  check: Check;
  state: CheckState;
  /** What was measured, in the unit of the check's column; NaN: nothing. */
  value: number;
  /** The same in words, or what a person said. */
  measured: string;
  /** Room left to the limit, or how far it is beyond; empty where there is no such thing. */
  margin: string;
  /** The margin as a part of all the room, 0 to 1; NaN where none is drawn. */
  part: number;
  note: string;
  /** Why it does not hold, in the station's words; empty where it has said none, and of what a person confirms. */
  reason: string;
}

export interface CheckList {
  /** When the table's newest row was made; NaN without one. */
  t_s: TapeSeconds;
  rows: CheckRow[];
}

/** How things stand with checks, in numbers. */
export interface Tally {
  all: number;
  hold: number;
  wait: number;
  fail: number;
  /** Must-checks that fail or wait stand in the way. */
  in_the_way: readonly CheckRow[];
}

const kStates: readonly CheckState[] = ['waits', 'holds', 'fails', 'not_evaluated'];

export function find_table(tape: Tape, vehicle: number, name: string): Table | undefined {
  const wanted = `${tape.description.vehicles[vehicle]?.name ?? ''}/${name}`;
  return tape.description.tables.find((table) => table.name === wanted);
}

function state_of(column: Column | undefined, value: number): CheckState {
  const word = column?.enumeration.get(value)?.replaceAll(' ', '_');
  return kStates.find((state) => state === word) ?? 'waits';
}

/** The newest event of a word about something, at or before the cursor. `since_s`: none from before. */
export function newest_event(
  tape: Tape,
  vehicle: number,
  word: string,
  about: Readonly<Record<string, unknown>>,
  since_s: TapeSeconds = -Infinity,
): TapeEvent | undefined {
  return tape.log.events.findLast(
    (event) =>
      event.event === word &&
      event.t_s <= tape.cursor_s &&
      event.t_s >= since_s &&
      (event.vehicle < 0 || event.vehicle === vehicle) &&
      Object.entries(about).every(([name, value]) => event.data[name] === value),
  );
}

export const text_in = (event: TapeEvent | undefined, name: string): string => {
  const value = event?.data[name];
  return typeof value === 'string' ? value : '';
};

export const texts_in = (event: TapeEvent, name: string): string[] => {
  const value = event.data[name];
  return Array.isArray(value) ? value.filter((one) => typeof one === 'string') : [];
};

/** `since_s`: what was measured or said before it does not count. */
export function checks_at(
  tape: Tape,
  vehicle: number,
  table_name: string,
  checks: readonly Check[],
  since_s: TapeSeconds = -Infinity,
): CheckList {
  const table = find_table(tape, vehicle, table_name);
  const newest_s = table ? tape.value_at_cursor(table.id, 0).t_s : NaN;
  const counts = newest_s >= since_s;
  const at = (name: string): { column: Column | undefined; value: number } => {
    const place = table?.columns.findIndex((column) => column.name === name) ?? -1;
    if (!table || place < 0 || !counts) return { column: undefined, value: NaN };
    return { column: table.columns[place], value: tape.value_at_cursor(table.id, place).value };
  };
  const procedure = /^procedure\/(.+)/.exec(table_name)?.[1];
  const reason_of = (id: string, stands: CheckState): string => {
    const decided = newest_event(tape, vehicle, 'check_decided', { check: id, procedure }, since_s);
    return text_in(decided, 'state') === stands ? text_in(decided, 'why') : '';
  };
  const rows = checks.map((check): CheckRow => {
    const { column, value } = at(check.id);
    const margin = at(`${check.id}_margin`).value;
    const { column: states, value: state } = at(`${check.id}_state`);
    const said = check.statement ? newest_event(tape, vehicle, 'statement', { check: check.id }, since_s) : undefined;
    const known = column !== undefined && Number.isFinite(value);
    const stands = state_of(states, state);
    const drawn = known && Number.isFinite(margin) && column.enumeration.size === 0 && !check.statement;
    return {
      check,
      state: stands,
      value,
      measured: check.statement ? said_words(said) : known ? figure_words(column, value) : kNotSaid,
      margin: drawn ? margin_words(column, Math.abs(margin), value) : '',
      part: drawn ? part_of(margin, value, check.room) : NaN,
      note: text_in(said, 'note'),
      reason: stands === 'holds' || check.statement ? '' : reason_of(check.id, stands),
    };
  });
  return { t_s: counts ? newest_s : NaN, rows };
}

function part_of(margin: number, value: number, room: number): number {
  const whole = Number.isFinite(room) && room > 0 ? room : Math.abs(value) + Math.abs(margin);
  return whole > 0 ? Math.min(1, Math.max(0, margin / whole)) : NaN;
}

export function tally_of(rows: readonly CheckRow[]): Tally {
  const count = (state: CheckState): number => rows.filter((row) => row.state === state).length;
  return {
    all: rows.length,
    hold: count('holds'),
    wait: count('waits') + count('not_evaluated'),
    fail: count('fails'),
    in_the_way: rows.filter((row) => row.check.severity === 'must' && row.state !== 'holds'),
  };
}

/** The check that holds with the least of its room left. */
export function tightest(rows: readonly CheckRow[]): CheckRow | undefined {
  const holding = rows.filter((row) => row.state === 'holds' && Number.isFinite(row.part));
  return holding.toSorted((a, b) => a.part - b.part)[0];
}

/** Strokes of a row: one where it waits, two where a should-check fails or a must-check does. */
export const urgency_of = (row: CheckRow): 'advisory' | 'caution' | undefined =>
  row.state === 'fails' ? 'caution' : row.state === 'holds' ? undefined : 'advisory';

export const state_words = (row: CheckRow): string => kStateWords[row.state];
