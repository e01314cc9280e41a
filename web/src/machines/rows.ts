/** What is shown of a machine at the cursor, from its dictionary alone: groups, units, limits and valid ranges. */
import type { Column, Limit, Table } from '../stream/description';
import type { Level } from '../stream/messages';
import { stale_after_s } from '../tape/age';
import type { ColumnRef } from '../tape/roles';
import { strips_of } from '../tape/strips';
import type { Tape } from '../tape/tape';
import { format_fixed, format_size } from '../text/format';
import { rounded } from '../text/rounding';
import { told_decimals } from '../text/told';
import { shown_decimals, shown_unit } from '../text/units';
import { from_words } from './wording';

export interface Mark {
  /** Along the ruler, 0 to 1. */
  part: number;
  text: string;
  side: Limit['side'];
  level: Exclude<Limit['level'], 'valid' | 'opens'>;
}

export interface Ruler {
  low: string;
  high: string;
  /** Of the value; NaN without one. Beyond the ends it stands at the end. */
  part: number;
  marks: readonly Mark[];
}

export interface MachineRow {
  id: string;
  ref: ColumnRef;
  title: string;
  text: string;
  unit: string;
  /** What the number says in words; empty for most. */
  says: string;
  age_s: number;
  old: boolean;
  /** Undefined for words and for what has neither limits nor a range. */
  ruler: Ruler | undefined;
  /** The most urgent limit that it is beyond. */
  beyond: Exclude<Level, 'note'> | undefined;
  draws: boolean;
}

export interface MachineGroup {
  title: string;
  rows: MachineRow[];
}

/** Vehicles that fly nothing; where there are none, the one that is looked at. */
export function machines_of(tape: Tape, vehicle: number): number[] {
  const found = tape.description.vehicles.flatMap((one, i) => (one.rocket ? [] : [i]));
  return found.length > 0 ? found : [vehicle];
}

/**
 * Groups that the dictionary names, with what is worked out in the same ones under what was measured; a group that holds no
 * value yet is still named. Of a dictionary that names none, every packet.
 */
export function groups_of(tape: Tape, vehicle: number): MachineGroup[] {
  const groups = strips_of(tape.description, vehicle)
    .map(({ title, strips }) => ({
      title,
      rows: strips
        .flatMap((strip) => strip.series)
        .flatMap(({ table, column }) => row_of(tape, tape.description.tables[table], column, vehicle))
        .toSorted((a, b) => Number(is_measured(b)) - Number(is_measured(a))),
    }))
    .filter((group) => group.rows.some(is_measured));
  const named = groups.filter(({ title, rows }) => rows.some((row) => !row.ref.table.name.endsWith(`/${title}`)));
  return named.length > 0 ? named : groups;
}

const is_measured = ({ ref }: MachineRow): boolean => ref.table.kind === 'packet' || ref.table.kind === 'batch';

function row_of(tape: Tape, table: Table | undefined, place: number, vehicle: number): MachineRow[] {
  const column = table?.columns[place];
  if (!table || !column || table.vehicle !== vehicle) return [];
  const { value, t_s } = tape.value_at_cursor(table.id, place);
  const age_s = tape.cursor_s - t_s;
  const words = column.enumeration.size > 0;
  const sigma = table.columns.findIndex((one) => one.name === column.sigma_column);
  const is_place = column.role === 'latitude' || column.role === 'longitude';
  const decimals = Math.min(column.decimals, is_place ? kPlaceDecimals : told_decimals(value));
  const spread = sigma < 0 ? NaN : tape.value_at_cursor(table.id, sigma).value;
  const { text } = rounded({ ...column, decimals }, value, spread);
  const compass = column.role === 'wind_from' || column.name === 'from_deg';
  return [
    {
      id: `${table.name}/${column.name}`,
      ref: { table, column: place },
      title: column.title,
      text,
      unit: words ? '' : shown_unit(column.unit).symbol,
      says: compass && Number.isFinite(value) ? from_words(value) : '',
      age_s,
      old: age_s > stale_after_s(table),
      ruler: words || compass || is_place ? undefined : ruler_of(column, value),
      beyond: beyond(column, value),
      draws: !words && !compass && !is_place,
    },
  ];
}

const kPlaceDecimals = 5; // a metre

const kOrder = { advisory: 1, caution: 2, warning: 3 } as const;

/** Limits that say something is wrong; the others say where the scale ends. */
const wrong = (column: Column) =>
  column.limits.flatMap(({ side, value, level }) =>
    level === 'valid' || level === 'opens' ? [] : [{ side, value, level }],
  );

function beyond(column: Column, value: number): MachineRow['beyond'] {
  return wrong(column)
    .filter(({ side, value: limit }) => (side === 'low' ? value < limit : value > limit))
    .toSorted((a, b) => kOrder[b.level] - kOrder[a.level])[0]?.level;
}

const kPad = 0.5; // beyond the outermost limits, as a part of what lies between them

/** As far as the dictionary calls the value valid, else somewhat beyond the limits: the value moves, never the scale. */
export function ruler_of(column: Column, value: number): Ruler | undefined {
  const limits = wrong(column);
  const { gain, offset } = shown_unit(column.unit);
  const zero = -offset / gain;
  const [from, high] =
    column.range ??
    around(
      limits.map((limit) => limit.value),
      zero,
    );
  const low = column.unit === 'By' ? Math.max(0, from) : from;
  if (!(high > low)) return undefined;
  const words = (number: number): string => {
    if (column.unit === 'By') return format_size(number);
    const shown = number * gain + offset;
    const decimals = Math.min(shown_decimals(column.unit, column.decimals), Math.max(0, told_decimals(shown)));
    return format_fixed(shown, decimals).replace(/\.0+$/, '');
  };
  const part = (number: number): number => Math.min(1, Math.max(0, (number - low) / (high - low)));
  return {
    low: words(low),
    high: words(high),
    part: Number.isFinite(value) ? part(value) : NaN,
    marks: limits.map(({ side, level, value: limit }) => ({
      part: part(limit),
      text: words(limit),
      side,
      level,
    })),
  };
}

/** `zero`: of the unit that is shown. */
function around(limits: readonly number[], zero: number): readonly [number, number] {
  const [low, high] = [Math.min(...limits), Math.max(...limits)];
  const room = kPad * (high - low || Math.abs(high - zero));
  return [low - room, high + room];
}

/** The youngest age of any row of a machine. */
export function heard_s(tape: Tape, vehicle: number): number {
  let age_s = NaN;
  for (const { table } of tape.tables) {
    if (table.vehicle !== vehicle || table.kind === 'estimate' || table.number_count === 0) continue;
    const { t_s } = tape.value_at_cursor(table.id, 0);
    if (!(tape.cursor_s - t_s >= age_s)) age_s = tape.cursor_s - t_s;
  }
  return age_s;
}
