/**
 * Which strips a recording has: columns of one display group, with the axes of one vector sharing a strip. An on-board
 * value of the same quantity joins the ground's estimate, so that the two can be compared at a glance.
 */
import type { Column, Description, Table } from '../stream/messages';

export interface Series {
  table: number;
  column: number;
  /** Column of the same table with the 1-sigma; -1: none. */
  sigma: number;
  /** Columns of the same table between which the value lies with 90 %; -1: none. */
  low: number;
  high: number;
  /** Letter or word that tells this line from its neighbours. */
  label: string;
  /** Drawn broken: the vehicle's own word beside the ground's. */
  broken: boolean;
}

export interface Strip {
  id: string;
  title: string;
  unit: string;
  /** True: values are words, drawn as spans. */
  words: boolean;
  series: Series[];
}

export interface StripGroup {
  id: string;
  title: string;
  strips: Strip[];
}

const kAxis = /_(x|y|z|w|east|north|up|\d{1,2})$/;
const kSeriesMax = 4;

/** Quantities the ground estimates and the vehicle may send as well: role of the latter by the estimate's column. */
const kOnBoard: ReadonlyMap<string, string> = new Map([
  ['altitude_m', 'onboard_altitude'],
  ['vertical_speed_mps', 'onboard_vertical_speed'],
]);

/** Running clocks: the phase readout and the flight clock say them; a line that only rises says nothing. */
const kNotDrawn: ReadonlySet<string> = new Set(['time_in_phase_s', 'time_since_lift_off_s']);

/** Where a column's name alone would not say what a strip shows. */
const kTitles: ReadonlyMap<string, string> = new Map([
  ['apogee_m', 'Predicted apogee'],
  ['apogee_in_s', 'Time to apogee'],
  ['nominal_east_m', 'Landing, east of pad'],
  ['nominal_north_m', 'Landing, north of pad'],
  ['nominal_semi_major_m', 'Landing, long half axis'],
  ['nominal_semi_minor_m', 'Landing, short half axis'],
  ['nominal_in_s', 'Time to landing'],
  ['nominal_outside', 'Landing, share outside'],
  ['east_m', 'East of pad'],
  ['north_m', 'North of pad'],
  ['up_m', 'Above pad'],
  ['nis_mean', 'Innovation ratio (1 is right)'],
  ['health', 'Vertical motion'],
  ['fix_health', 'Satellite fixes'],
  ['mode', 'Navigation mode'],
]);

const kBound = /_(low|high)(?=_|$)/;

const stem_of = (column: Column): string => column.name.replace(kAxis, '');

function title_of(stem: string): string {
  const words = stem.replace(/_(mps2|mps|rad_s|m|s|pa|k|deg|ppm|v|hz|percent|fraction)$/, '').replace(/_/g, ' ');
  return words.charAt(0).toUpperCase() + words.slice(1);
}

const kGroupOrder = [
  'vertical',
  'prediction',
  'flight',
  'phase',
  'estimate',
  'navigation',
  'attitude',
  'antenna',
  'ground minus',
  'inertial',
  'air',
  'position',
  'on-board',
  'health',
  'link',
];

function group_rank(title: string): number {
  const lower = title.toLowerCase();
  const found = kGroupOrder.findIndex((word) => lower.startsWith(word));
  return found < 0 ? kGroupOrder.length : found;
}

/** "apogee_low_m" is a bound of "apogee_m" when the table has both. */
function is_bound(table: Table, column: Column): boolean {
  return kBound.test(column.name) && table.columns.some((other) => other.name === column.name.replace(kBound, ''));
}

function bound_of(table: Table, column: Column, which: 'low' | 'high'): number {
  return table.columns.findIndex(
    (other) => kBound.exec(other.name)?.[1] === which && other.name.replace(kBound, '') === column.name,
  );
}

/** What the tinted band around a strip's lines means; empty when it has none. */
export function band_words(strip: Strip): string {
  if (strip.series.some((series) => series.low >= 0 && series.high >= 0)) return '90 %';
  return strip.series.some((series) => series.sigma >= 0) ? '±1σ' : '';
}

function is_sigma(table: Table, column: Column): boolean {
  return table.columns.some((other) => other.sigma_column === column.name);
}

export function find_role(
  description: Description,
  role: string,
  vehicle: number,
): { table: Table; column: number } | undefined {
  for (const table of description.tables) {
    if (table.vehicle !== vehicle) continue;
    const column = table.columns.findIndex((c) => c.role === role && !c.text);
    if (column >= 0) return { table, column };
  }
  return undefined;
}

export function plan_strips(description: Description, vehicle: number): StripGroup[] {
  const groups = new Map<string, StripGroup>();
  for (const table of description.tables) {
    if (table.vehicle !== vehicle && table.vehicle >= 0) continue;
    table.columns.slice(0, table.number_count).forEach((column, place) => {
      if (
        column.group === '' ||
        is_sigma(table, column) ||
        is_bound(table, column) ||
        (table.kind === 'estimate' && kNotDrawn.has(column.name))
      )
        return;
      const group = groups.get(column.group) ?? { id: column.group, title: column.group, strips: [] };
      groups.set(column.group, group);
      const stem = stem_of(column);
      const axis = kAxis.exec(column.name)?.[1];
      const id = `${table.name}/${stem}/${column.unit}`;
      const words = column.enumeration.size > 0;
      const series = {
        table: table.id,
        column: place,
        sigma: -1,
        low: bound_of(table, column, 'low'),
        high: bound_of(table, column, 'high'),
        label: axis ?? '',
        broken: false,
      };
      if (column.sigma_column) series.sigma = table.columns.findIndex((c) => c.name === column.sigma_column);
      const open =
        axis !== undefined && !words
          ? group.strips.find((strip) => strip.id === id && strip.series.length < kSeriesMax)
          : undefined;
      if (open) {
        open.series.push(series);
        return;
      }
      const strip: Strip = {
        id: axis === undefined ? `${id}/${column.name}` : id,
        title: (table.kind === 'estimate' && kTitles.get(column.name)) || title_of(stem),
        unit: column.unit,
        words,
        series: [series],
      };
      const role = table.name.endsWith('/estimate/vertical') ? kOnBoard.get(column.name) : undefined;
      const other = role ? find_role(description, role, table.vehicle) : undefined;
      if (other && other.table.columns[other.column]?.unit === column.unit) {
        series.label = 'ground';
        strip.series.push({
          table: other.table.id,
          column: other.column,
          sigma: -1,
          low: -1,
          high: -1,
          label: 'on board',
          broken: true,
        });
      }
      group.strips.push(strip);
    });
  }
  return [...groups.values()]
    .map((group) => ({ ...group, strips: group.strips.toSorted((a, b) => Number(a.words) - Number(b.words)) }))
    .sort((a, b) => group_rank(a.title) - group_rank(b.title));
}
