/**
 * Which strips a recording has: columns of one display group, with those that the description puts on one strip together.
 * An on-board value of the same quantity joins the ground's estimate, so that the two can be compared at a glance.
 */
import type { Column, Description, Limit, Table } from '../stream/description';
import { is_running_clock, onboard_counterpart, opening_limits } from './estimate_strips';

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
  /** Of the first line. */
  limits: readonly Limit[];
}

export interface StripGroup {
  title: string;
  strips: Strip[];
}

export const kSeriesMax = 4;

const place_of = (table: Table, name: string | null | undefined): number =>
  table.columns.findIndex((column) => column.name === name);

/** Shown as the band of another column, not as a strip. */
function is_band(table: Table, column: Column): boolean {
  return table.columns.some(
    (other) => other.sigma_column === column.name || other.interval?.includes(column.name) === true,
  );
}

/** What the tinted band around a strip's lines means; empty when it has none. */
export function band_words(strip: Strip): string {
  if (strip.series.some((series) => series.low >= 0 && series.high >= 0)) return '90 %';
  return strip.series.some((series) => series.sigma >= 0) ? '±1σ' : '';
}

/** Those of the description; a channel that only says where it is valid has the edges of that as its limits. */
function limits_of(column: Column): readonly Limit[] {
  if (column.limits.length > 0 || !column.range) return column.limits;
  return [
    { side: 'low', value: column.range[0], level: 'valid' },
    { side: 'high', value: column.range[1], level: 'valid' },
  ];
}

function series_of(table: Table, place: number, column: Column): Series {
  return {
    table: table.id,
    column: place,
    sigma: place_of(table, column.sigma_column),
    low: place_of(table, column.interval?.[0]),
    high: place_of(table, column.interval?.[1]),
    label: column.strip?.line ?? '',
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

/** Groups and strips are in the order in which the description names them first; words come last in a group. */
export function strips_of(description: Description, vehicle: number): StripGroup[] {
  const groups = new Map<string, StripGroup>();
  for (const table of description.tables) {
    if (table.vehicle !== vehicle && table.vehicle >= 0) continue;
    const shared = new Map<string, Strip>(); // with room for another line
    table.columns.slice(0, table.number_count).forEach((column, place) => {
      if (column.group === '' || is_band(table, column) || is_running_clock(table, column)) return;
      const group = groups.get(column.group) ?? { title: column.group, strips: [] };
      groups.set(column.group, group);
      const series = series_of(table, place, column);
      const key = JSON.stringify([column.strip?.title, column.unit, column.group]);
      const open = column.strip ? shared.get(key) : undefined;
      if (open && open.series.every((other) => other.label !== series.label)) {
        open.series.push(series);
        if (open.series.length === kSeriesMax) shared.delete(key);
        return;
      }
      const strip: Strip = {
        id: `${table.name}/${column.name}`,
        title: column.strip?.title ?? column.title,
        unit: column.unit,
        words: column.enumeration.size > 0,
        series: [series],
        limits: [...limits_of(column), ...opening_limits(description, table, column)],
      };
      add_counterpart(description, table, column, strip);
      group.strips.push(strip);
      if (column.strip) shared.set(key, strip);
    });
  }
  return [...groups.values()].map((group) => ({
    ...group,
    strips: group.strips.toSorted((a, b) => Number(a.words) - Number(b.words)),
  }));
}
