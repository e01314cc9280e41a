/** The readiness board at the cursor. */
import { poll_at, type PollRow } from '../checks/poll';
import { checks_at, find_table, type CheckRow } from '../checks/rows';
import type { Readiness } from '../stream/ground';
import { find_role, type ColumnRef } from '../tape/roles';
import type { Tape } from '../tape/tape';

export interface BoardGroup {
  title: string;
  rows: CheckRow[];
}

export interface Board {
  groups: BoardGroup[];
  rows: CheckRow[];
  poll: PollRow[];
  /** The station says so. */
  ready: boolean;
  /** Age of the board's newest row; NaN without one. */
  age_s: number;
  /** It should have been made again long since. */
  old: boolean;
}

const kOld_s = 5; // a row comes once a second

export function board_at(tape: Tape, vehicle: number, { groups, positions }: Readiness): Board {
  const lists = groups.map((group) => ({ title: group.title, ...checks_at(tape, vehicle, 'readiness', group.checks) }));
  const newest = Math.max(...lists.map((list) => list.t_s), -Infinity);
  const age_s = Number.isFinite(newest) ? tape.cursor_s - newest : NaN;
  return {
    groups: lists,
    rows: lists.flatMap((list) => list.rows),
    poll: poll_at(tape, vehicle, positions),
    ready: says_ready(tape, vehicle),
    age_s,
    old: age_s > kOld_s,
  };
}

function says_ready(tape: Tape, vehicle: number): boolean {
  const table = find_table(tape, vehicle, 'readiness');
  const place = table?.columns.findIndex((column) => column.name === 'ready') ?? -1;
  return table !== undefined && place >= 0 && tape.value_at_cursor(table.id, place).value === 1;
}

/** The wind that is measured: that of a machine which does not move before any other. */
export function wind_of(tape: Tape): ColumnRef | undefined {
  const found = tape.description.vehicles.flatMap((_, vehicle) => {
    const ref = find_role(tape.description, 'wind_speed', vehicle);
    const moves = find_role(tape.description, 'engine_speed', vehicle) !== undefined;
    return ref ? [{ ref, moves }] : [];
  });
  return (found.find((one) => !one.moves) ?? found[0])?.ref;
}

/** The most wind that the board's checks allow, from those about that station's figures; NaN without one. */
export function most_wind(tape: Tape, wind: ColumnRef, rows: readonly CheckRow[]): number {
  const name = tape.description.vehicles[wind.table.vehicle]?.name;
  const limits = rows
    .filter((row) => row.check.vehicle === name && row.check.table.includes('wind'))
    .map((row) => row.check.most);
  return Math.min(...limits.filter(Number.isFinite), Infinity);
}
