/**
 * The log book of the HTTP API (protocol/STREAM.md, section 3): flights with their key figures, what people write of them,
 * and what becomes of the recordings they are in.
 */
import { json, post, posted, remove } from './api';
import type { TapeSeconds, UtcMs } from './clocks';
import { flag, number, object, one_of, text, utc_ms, type Json } from './json';
import { list, maybe, numbers } from './json_lists';

/** One value of a flight, made by one function for log book, comparison and report. */
export interface Figure {
  key: string;
  title: string;
  unit: string;
  /** NaN: not known. */
  value: number;
  sigma: number;
}

export type Ended = 'touchdown' | 'impact' | 'presumed_down' | 'presumed_impact' | 'under_way';

/** Altitude over time since liftoff, coarse: for a small picture. */
export interface Curve {
  t_s: readonly number[];
  altitude_m: readonly number[];
  phases: readonly { phase: string; from_s: number }[];
}

export interface Flight {
  /** RECORDING~VEHICLE~N */
  id: string;
  recording: string;
  vehicle: string;
  /** The vehicle's. */
  title: string;
  number: number;
  name: string;
  notes: string;
  tags: readonly string[];
  configuration: string;
  site: string;
  liftoff_ms: UtcMs;
  /** On its recording's tape. */
  liftoff_s: TapeSeconds;
  from_s: TapeSeconds;
  to_s: TapeSeconds;
  duration_s: number;
  ended: Ended;
  figures: ReadonlyMap<string, Figure>;
  curve: Curve;
  lost_fraction: number;
  worst: { level: 'advisory' | 'caution' | 'warning'; sentence: string } | undefined;
  /** What is wrong with its file; empty: nothing. */
  damage: string;
  live: boolean;
  archived: boolean;
}

/** A recording in which nothing flew, or that cannot be read. */
export interface Unflown {
  id: string;
  name: string;
  notes: string;
  damage: string;
  /** A word for how it ended. */
  ended: string;
  live: boolean;
  archived: boolean;
}

export interface LogBook {
  flights: readonly Flight[];
  unflown: readonly Unflown[];
  /** Put aside, and until when they can be brought back. */
  removed: readonly { id: string; until_ms: UtcMs }[];
  /** Files that changed since they were read: they are being read. */
  unread: number;
}

export function read_figure(value: unknown, path: string): Figure {
  const from = object(value, path);
  const key = text(from, 'key', path);
  return {
    key,
    title: text(from, 'title', path, key),
    unit: text(from, 'unit', path, '1'),
    value: number(from, 'value', path, NaN),
    sigma: number(from, 'sigma', path, NaN),
  };
}

function read_curve(value: unknown, path: string): Curve {
  const from = object(value, path);
  return {
    t_s: numbers(from, 't_s', path),
    altitude_m: numbers(from, 'altitude_m', path),
    phases: list(from, 'phases', path, (entry, at) => {
      const phase = object(entry, at);
      return { phase: text(phase, 'phase', at), from_s: number(phase, 'from_s', at) };
    }),
  };
}

const kNoCurve: Curve = { t_s: [], altitude_m: [], phases: [] };

function read_worst(value: unknown, path: string): NonNullable<Flight['worst']> {
  const from = object(value, path);
  return {
    level: one_of(from, 'level', path, ['advisory', 'caution', 'warning'] as const),
    sentence: text(from, 'sentence', path),
  };
}

const texts_of = (from: Json, name: string, path: string): string[] =>
  list(from, name, path, (entry, at) => text({ entry }, 'entry', at));

export function read_flight(value: unknown, path = 'flight'): Flight {
  const from = object(value, path);
  const figures = list(from, 'figures', path, read_figure);
  return {
    id: text(from, 'id', path),
    recording: text(from, 'recording', path),
    vehicle: text(from, 'vehicle', path),
    title: text(from, 'title', path, text(from, 'vehicle', path)),
    number: number(from, 'number', path),
    name: text(from, 'name', path, ''),
    notes: text(from, 'notes', path, ''),
    tags: texts_of(from, 'tags', path),
    configuration: text(from, 'configuration', path, ''),
    site: text(from, 'site', path, ''),
    liftoff_ms: from['utc_liftoff_ns'] === null ? NaN : utc_ms(from, 'utc_liftoff_ns', path),
    liftoff_s: number(from, 'liftoff_s', path, NaN),
    from_s: number(from, 'from_s', path, NaN),
    to_s: number(from, 'to_s', path, NaN),
    duration_s: number(from, 'duration_s', path, NaN),
    ended: one_of(from, 'ended', path, [
      'touchdown',
      'impact',
      'presumed_down',
      'presumed_impact',
      'under_way',
    ] as const),
    figures: new Map(figures.map((figure) => [figure.key, figure])),
    curve: maybe(from, 'curve', path, read_curve) ?? kNoCurve,
    lost_fraction: number(from, 'lost_share', path, NaN),
    worst: maybe(from, 'worst', path, read_worst),
    damage: text(from, 'damage', path, ''),
    live: flag(from, 'live', path, false),
    archived: flag(from, 'archived', path, false),
  };
}

function read_unflown(value: unknown, path: string): Unflown {
  const from = object(value, path);
  return {
    id: text(from, 'id', path),
    name: text(from, 'name', path, ''),
    notes: text(from, 'notes', path, ''),
    damage: text(from, 'damage', path, ''),
    ended: text(from, 'ended', path, ''),
    live: flag(from, 'live', path, false),
    archived: flag(from, 'archived', path, false),
  };
}

export function read_log_book(value: unknown): LogBook {
  const from = object(value, 'log book');
  return {
    flights: list(from, 'flights', 'log book', read_flight),
    unflown: list(from, 'recordings_without', 'log book', read_unflown),
    removed: list(from, 'removed', 'log book', (entry, at) => {
      const one = object(entry, at);
      return { id: text(one, 'id', at), until_ms: utc_ms(one, 'until_utc_ns', at) };
    }),
    unread: number(from, 'unread', 'log book', 0),
  };
}

export const fetch_log_book = async (): Promise<LogBook> => read_log_book(await json('/api/flights'));

const of_flight = (id: string): string => `/api/flights/${encodeURIComponent(id)}`;
const of_recording = (id: string): string => `/api/recordings/${encodeURIComponent(id)}`;

/** What people write of a flight. */
export interface Entry {
  name: string;
  notes: string;
  tags: readonly string[];
  configuration: string;
}

export const post_entry = (id: string, entry: Entry): Promise<void> => post(of_flight(id), entry);
/** A bookmark at a moment of the recording's tape. */
export const post_bookmark = (id: string, t_s: TapeSeconds, words: string): Promise<void> =>
  post(`${of_flight(id)}/bookmarks`, { t_s, text: words });

export const post_archive = (recording: string, archived: boolean): Promise<void> =>
  post(`${of_recording(recording)}/archive`, { archived });
/** It is put aside for a day, in which `restore` brings it back. */
export const remove_recording = (recording: string): Promise<void> => remove(of_recording(recording));
export const restore_recording = async (recording: string): Promise<void> => {
  await posted(`${of_recording(recording)}/restore`, {});
};

export type ExportFormat = 'csv' | 'jsonl' | 'kml' | 'geojson' | 'gpx' | 'npz' | 'hdf5' | 'raw';

/** What is taken out of a flight. */
export interface ExportChoice {
  format: ExportFormat;
  /** On the recording's tape; undefined: from the flight's begin, to its end. */
  from_s: TapeSeconds | undefined;
  to_s: TapeSeconds | undefined;
  /** Tables, or columns as "table.column"; empty: everything. */
  channels: readonly string[];
  /** One time base with such a step; undefined: a line for each row. */
  every_s: number | undefined;
}

export function export_address(id: string, choice: ExportChoice): string {
  const { format, from_s, to_s, channels, every_s } = choice;
  const parts = [`format=${format}`];
  if (from_s !== undefined) parts.push(`from_s=${from_s}`);
  if (to_s !== undefined) parts.push(`to_s=${to_s}`);
  if (every_s !== undefined) parts.push(`every_s=${every_s}`);
  if (channels.length > 0) parts.push(`channels=${channels.map(encodeURIComponent).join(',')}`);
  return `${of_flight(id)}/export?${parts.join('&')}`;
}
