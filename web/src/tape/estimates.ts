/**
 * What the page asks of the estimators by name: the one place that knows their tables and columns. Strips and tape are
 * generic and show whatever a recording has; readouts, cards and the map ask here.
 */
import type { TapeSeconds } from '../stream/clocks';
import type { Column, Description, Limit, Table } from '../stream/description';
import { format_value } from '../text/format';
import { find_role, type ColumnRef } from './roles';
import type { Tape, TableData } from './tape';

export const kLandingCases = [
  'nominal',
  'late_opening',
  'drogue_fails',
  'main_fails',
  'main_at_apogee',
  'no_parachute',
] as const;
export type LandingCaseName = (typeof kLandingCases)[number];

const kLandingParts = [
  'east_m',
  'north_m',
  'semi_major_m',
  'semi_minor_m',
  'bearing_deg',
  'in_s',
  'outside',
  'probability',
] as const;
type LandingColumn = `${LandingCaseName}_${(typeof kLandingParts)[number]}`;

/** Columns by estimator. A value's 1-sigma is found by the column's own `sigma_column`. */
export const kEstimators = {
  vertical: ['altitude_m', 'vertical_speed_mps', 'health'],
  phase: ['phase', 'time_in_phase_s', 'time_since_liftoff_s'],
  derived: ['altitude_max_m', 'vertical_speed_max_mps', 'ground_distance_m', 'drogue_rate_mps', 'main_rate_mps'],
  navigation: ['mode', 'east_m', 'north_m', 'up_m', 'velocity_up_mps', 'fix_health', 'height_health'],
  look_angles: ['azimuth_deg', 'azimuth_magnetic_deg', 'elevation_deg', 'slant_range_m', 'pointing_half_beams'],
  onboard_comparison: ['altitude_m', 'vertical_speed_mps', 'long_axis_deg'],
  ascent: ['apogee_m', 'apogee_low_m', 'apogee_high_m', 'apogee_in_s'],
  landing: [
    ...kLandingCases.flatMap((name) => kLandingParts.map((part): LandingColumn => `${name}_${part}`)),
    'terrain' as const,
    'likeliest' as const,
    'outside' as const,
  ],
} as const;
export type Estimator = keyof typeof kEstimators;
/** Of an estimator that is not listed, or taken as `string`, columns are asked for by whatever name they may have. */
export type ColumnOf<E extends string> = E extends Estimator ? (typeof kEstimators)[E][number] : string;

/**
 * Words on which the page acts. A recording's description says which number each word has; a word that is not among these
 * is shown as it is and means nothing here.
 */
export const kModeWords = { aided: 'GNSS-aided', dead_reckoning: 'dead reckoning', lost: 'lost' } as const;
export const kTerrainFlat = 'flat';
export const kLikeliestWords: Readonly<Record<LandingCaseName, string>> = {
  nominal: 'nominal',
  late_opening: 'drogue late',
  drogue_fails: 'drogue fails',
  main_fails: 'main fails',
  main_at_apogee: 'main at apogee',
  no_parachute: 'no parachute (ballistic)',
};
/** By how soon each deserves attention; the first is as it should be. */
export const kHealthWords = [
  'consistent',
  'not enough data yet',
  'conservative',
  'overconfident',
  'do not trust',
] as const;
export type HealthWord = (typeof kHealthWords)[number];

/** Place among `kHealthWords`; behind all of them when the word is none. */
export function health_rank(word: string): number {
  const rank = kHealthWords.findIndex((known) => known === word);
  return rank < 0 ? kHealthWords.length : rank;
}

/** One estimator's newest row at the tape's cursor. */
export interface Estimate<E extends string> {
  /** Whether the recording has such a table. */
  readonly known: boolean;
  /** Time of the row; NaN without one. */
  readonly t_s: TapeSeconds;
  readonly data: TableData | undefined;
  ref(name: ColumnOf<E>): ColumnRef | undefined;
  column(name: ColumnOf<E>): Column | undefined;
  value(name: ColumnOf<E>): number;
  /** 1-sigma of a value; NaN when the table gives none. */
  sigma(name: ColumnOf<E>): number;
  /** The word of an enumeration's value, as the description has it; empty without one. */
  word(name: ColumnOf<E>): string;
}

const kFolder = '/estimate/';

/** Whether it is the table of an estimator of that name, known to the page or not. */
export const is_estimate = (table: Table, name: string): boolean =>
  table.kind === 'estimate' && table.name.endsWith(kFolder + name);

function table_of(description: Description, vehicle: number, estimator: string): Table | undefined {
  return description.tables.find((table) => table.vehicle === vehicle && is_estimate(table, estimator));
}

/** The estimator whose table this is, as far as the page knows it. */
function estimator_of(table: Table): Estimator | undefined {
  if (table.kind !== 'estimate') return undefined;
  const name = table.name.slice(table.name.indexOf(kFolder) + kFolder.length);
  return name in kEstimators ? (name as Estimator) : undefined;
}

/** Where these columns lie, as far as a recording has them. */
export function estimate_refs<E extends Estimator>(
  description: Description,
  vehicle: number,
  estimator: E,
  names: readonly ColumnOf<E>[],
): ColumnRef[] {
  const table = table_of(description, vehicle, estimator);
  return names.flatMap((name) => {
    const column = table?.columns.findIndex((one) => one.name === name) ?? -1;
    return table && column >= 0 ? [{ table, column }] : [];
  });
}

/** `as_of_s`: the row of an earlier moment. */
export function estimate<E extends string>(
  tape: Tape,
  vehicle: number,
  estimator: E,
  as_of_s: TapeSeconds = Infinity,
): Estimate<E> {
  const table = table_of(tape.description, vehicle, estimator);
  const find = (name: string): number => table?.columns.findIndex((column) => column.name === name) ?? -1;
  const value = (name: string): number => {
    const column = find(name);
    return table && column >= 0 ? tape.value_before(table.id, column, as_of_s).value : NaN;
  };
  return {
    known: table !== undefined,
    t_s: table ? tape.value_before(table.id, 0, as_of_s).t_s : NaN,
    data: table && tape.tables[table.id],
    ref: (name) => {
      const column = find(name);
      return table && column >= 0 ? { table, column } : undefined;
    },
    column: (name) => table?.columns[find(name)],
    value,
    sigma: (name) => {
      const sigma = table?.columns[find(name)]?.sigma_column;
      return sigma ? value(sigma) : NaN;
    },
    word: (name) => {
      const column = table?.columns[find(name)];
      return column && column.enumeration.size > 0 && Number.isFinite(value(name))
        ? format_value(column, value(name))
        : '';
    },
  };
}

const kClocks: readonly ColumnOf<'phase'>[] = ['time_in_phase_s', 'time_since_liftoff_s'];

/** Clocks that only run: the phase readout and the header say them; as a line they say nothing. */
export function is_running_clock(table: Table, column: Column): boolean {
  return estimator_of(table) === 'phase' && kClocks.some((name) => name === column.name);
}

/** Heights at which parachutes are to open, beside the altitude on its way down. */
export function opening_limits(description: Description, table: Table, column: Column): Limit[] {
  if (estimator_of(table) !== 'vertical' || column.name !== 'altitude_m') return [];
  return (description.vehicles[table.vehicle]?.parachutes ?? []).flatMap(({ name, below_m }) =>
    Number.isNaN(below_m) ? [] : [{ side: 'low' as const, level: 'opens' as const, value: below_m, name }],
  );
}

const kOnboardRoles: Partial<Record<ColumnOf<'vertical'>, string>> = {
  altitude_m: 'onboard_altitude',
  vertical_speed_mps: 'onboard_vertical_speed',
};

/** The vehicle's own value of what the ground estimates, when it sends one. */
export function onboard_counterpart(description: Description, table: Table, column: Column): ColumnRef | undefined {
  if (estimator_of(table) !== 'vertical') return undefined;
  const role = Object.entries(kOnboardRoles).find(([name]) => name === column.name)?.[1];
  return role === undefined ? undefined : find_role(description, role, table.vehicle);
}
