/**
 * Which strips a recording has: columns of one display group, with the axes of one vector sharing a strip. An on-board
 * value of the same quantity joins the ground's estimate, so that the two can be compared at a glance.
 */
import type { Column, Description, Table } from '../stream/description';
import { is_running_clock, onboard_counterpart } from './estimates';

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
  /** Drawn broken: the vehicle's own value beside the ground's. */
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
  /** One of the few that a small screen opens by itself. */
  first: boolean;
}

const kAxis = /_(x|y|z|w|east|north|up|\d{1,2})$/;
const kBound = /_(low|high)(?=_|$)/;
export const kSeriesMax = 4;

/** Beginnings of group titles in the order they are shown; other groups follow. */
const kGroupOrder = [
  'vertical',
  'prediction',
  'flight',
  'maxima',
  'navigation',
  'attitude',
  'antenna',
  'ground',
  'inertial',
  'air',
  'position',
  'on-board',
  'health',
  'link',
];
const kFirstGroups = 2; // of the order above

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

function is_sigma(table: Table, column: Column): boolean {
  return table.columns.some((other) => other.sigma_column === column.name);
}

/** What the tinted band around a strip's lines means; empty when it has none. */
export function band_words(strip: Strip): string {
  if (strip.series.some((series) => series.low >= 0 && series.high >= 0)) return '90 %';
  return strip.series.some((series) => series.sigma >= 0) ? '±1σ' : '';
}

function shared_words(titles: readonly string[]): string {
  const [first = [], ...others] = titles.map((title) => title.split(' '));
  const differs = first.findIndex((word, i) => others.some((other) => other[i] !== word));
  return (differs < 0 ? first : first.slice(0, differs)).join(' ').replace(/,$/, '');
}

/**
 * What the titles of a vector's axes have in common: "Velocity east" and "Velocity north" share "Velocity". The first
 * axis may have a name of its own: "Roll rate" beside "Turn rate, body y" and "Turn rate, body z".
 */
export function common_title(titles: readonly string[], fallback: string): string {
  const others = titles.length > 2 ? shared_words(titles.slice(1)) : '';
  return shared_words(titles) || others || fallback;
}

function series_of(table: Table, place: number, column: Column): Series {
  return {
    table: table.id,
    column: place,
    sigma: column.sigma_column ? table.columns.findIndex((c) => c.name === column.sigma_column) : -1,
    low: bound_of(table, column, 'low'),
    high: bound_of(table, column, 'high'),
    label: kAxis.exec(column.name)?.[1] ?? '',
    broken: false,
  };
}

function add_counterpart(description: Description, table: Table, column: Column, strip: Strip): void {
  const other = onboard_counterpart(description, table, column);
  if (!other || other.table.columns[other.column]?.unit !== column.unit) return;
  for (const series of strip.series) series.label = 'ground';
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

function title_of(description: Description, strip: Strip, group: string): string {
  const own = strip.series.filter((series) => !series.broken);
  const titles = own.map((series) => description.tables[series.table]?.columns[series.column]?.title ?? '');
  return common_title(titles, group);
}

export function strips_of(description: Description, vehicle: number): StripGroup[] {
  const groups = new Map<string, StripGroup>();
  const vectors = new Map<string, Strip>(); // with room for another axis
  for (const table of description.tables) {
    if (table.vehicle !== vehicle && table.vehicle >= 0) continue;
    table.columns.slice(0, table.number_count).forEach((column, place) => {
      if (column.group === '' || is_sigma(table, column) || is_bound(table, column) || is_running_clock(table, column))
        return;
      const group = groups.get(column.group) ?? { id: column.group, title: column.group, strips: [], first: false };
      groups.set(column.group, group);
      const words = column.enumeration.size > 0;
      const series = series_of(table, place, column);
      const vector =
        series.label === '' || words
          ? ''
          : [table.name, column.name.replace(kAxis, ''), column.unit, column.group].join('/');
      const open = vectors.get(vector);
      if (open) {
        open.series.push(series);
        if (open.series.length === kSeriesMax) vectors.delete(vector);
        return;
      }
      const strip: Strip = {
        id: `${table.name}/${column.name}`,
        title: '',
        unit: column.unit,
        words,
        series: [series],
      };
      add_counterpart(description, table, column, strip);
      group.strips.push(strip);
      if (vector !== '') vectors.set(vector, strip);
    });
  }
  for (const group of groups.values())
    for (const strip of group.strips) strip.title = title_of(description, strip, group.title);
  return [...groups.values()]
    .map((group) => ({
      ...group,
      first: group_rank(group.title) < kFirstGroups,
      strips: group.strips.toSorted((a, b) => Number(a.words) - Number(b.words)),
    }))
    .sort((a, b) => group_rank(a.title) - group_rank(b.title));
}
