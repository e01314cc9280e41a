/**
 * What the page asks of the estimators by name: the one place that knows their tables and columns. Strips and tape are
 * generic and show whatever a recording has; readouts, cards and the map ask here.
 */
import type { TapeSeconds } from '../stream/clocks';
import type { Column, Description, Table } from '../stream/description';
import { format_value } from '../text/format';
import type { ColumnRef } from './roles';
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
