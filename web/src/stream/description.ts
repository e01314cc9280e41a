/**
 * The description of a recording (protocol/STREAM.md, section 1): who flies, over which links, and every table with its
 * columns, announced once. What people read of a table or column is its title; names are for programs.
 */
import type { TapeSeconds, UtcMs } from './clocks';
import { array, fail, flag, number, object, one_of, text, utc_ms, type Json } from './json';

export type TableKind = 'packet' | 'batch' | 'estimate' | 'link';

/** Where an alert of the dictionary begins: drawn beside the values. */
export interface Limit {
  side: 'low' | 'high';
  /** What is raised beyond it; `valid`: nothing, but the value is to be doubted there; `opens`: no limit at all. */
  level: 'advisory' | 'caution' | 'warning' | 'valid' | 'opens';
  value: number;
  /** Of `opens`: the parachute that does so on the way down. */
  name?: string;
}

export interface Column {
  name: string;
  /** What people call it: "Vertical speed". */
  title: string;
  description: string;
  unit: string;
  group: string;
  decimals: number;
  range: readonly [number, number] | null;
  limits: readonly Limit[];
  enumeration: ReadonlyMap<number, string>;
  role: string | null;
  sigma_column: string | null;
  /** Columns of the same table between which the value lies with 90 %. */
  interval: readonly [string, string] | null;
  /** Title of the strip that it shares with other columns of the table, and what tells it from them there. */
  strip: { title: string; line: string } | null;
  text: boolean;
}

export interface Table {
  id: number;
  name: string;
  title: string;
  kind: TableKind;
  vehicle: number;
  period_s: number;
  columns: readonly Column[];
  /** Columns that travel in blocks; they come first. */
  number_count: number;
}

export interface Recording {
  id: string;
  name: string;
  notes: string;
  /** UTC of t_s = 0, milliseconds since 1970. */
  utc_start_ms: UtcMs;
  t_end_s: TapeSeconds;
  live: boolean;
  damage: string;
  /** Comma-separated; only in the list of recordings. */
  vehicles: string;
}

/** When a parachute is to open. */
export interface Opening {
  name: string;
  /** Altitude AGL on the way down; NaN: at apogee. */
  below_m: number;
  /** From there. */
  after_s: number;
}

export interface Vehicle {
  name: string;
  title: string;
  /** In order of use; empty too in a recording that does not say. */
  parachutes: readonly Opening[];
  /** Whether it flies: its file describes a rocket. */
  rocket: boolean;
  /** As it came; what only some views need is read by them (stream/ground.ts). */
  more: Json;
}

export interface GeoPoint {
  latitude_deg: number;
  longitude_deg: number;
}

export interface Site {
  name: string;
  /** NaN when not given. */
  pad: GeoPoint;
  station: GeoPoint;
  /** Magnetic north east of true north is positive. */
  declination_deg: number;
  /** Full width at -3 dB; NaN in a recording that does not say. */
  antenna_beamwidth_deg: number;
  /** Corners; closed by itself, empty when there is none. */
  boundary: readonly GeoPoint[];
}

export interface Link {
  name: string;
  uri: string;
  vehicle: number;
  /** Of its antenna, where that is known. */
  place?: GeoPoint;
}

export interface Description {
  recording: Recording;
  site: Site;
  vehicles: readonly Vehicle[];
  links: readonly Link[];
  tables: readonly Table[];
}

export function read_recording(value: unknown, path = 'recording'): Recording {
  const from = object(value, path);
  return {
    id: text(from, 'id', path),
    name: text(from, 'name', path, ''),
    notes: text(from, 'notes', path, ''),
    utc_start_ms: utc_ms(from, 'utc_start_ns', path),
    t_end_s: number(from, 't_end_s', path),
    live: flag(from, 'live', path, false),
    damage: text(from, 'damage', path, ''),
    vehicles: text(from, 'vehicles', path, ''),
  };
}

/** Recordings of older servers have none. */
function read_limits(value: unknown, path: string): Limit[] {
  return array(value ?? [], path).map((entry, i) => {
    const at = `${path}/${i}`;
    const from = object(entry, at);
    return {
      side: one_of(from, 'side', at, ['low', 'high'] as const),
      value: number(from, 'value', at),
      level: one_of(from, 'level', at, ['advisory', 'caution', 'warning'] as const),
    };
  });
}

function read_interval(value: unknown, path: string): [string, string] | null {
  if (value === null || value === undefined) return null;
  const [low, high] = array(value, path);
  if (typeof low !== 'string' || typeof high !== 'string') return fail(path, 'the names of two columns', value);
  return [low, high];
}

function read_strip(value: unknown, path: string): { title: string; line: string } | null {
  if (value === null || value === undefined) return null;
  const from = object(value, path);
  return { title: text(from, 'title', path), line: text(from, 'line', path) };
}

function read_column(value: unknown, path: string): Column {
  const from = object(value, path);
  const range = from['range'];
  let valid: readonly [number, number] | null = null;
  if (range !== null && range !== undefined) {
    const pair = array(range, `${path}/range`);
    if (pair.length !== 2 || typeof pair[0] !== 'number' || typeof pair[1] !== 'number')
      fail(`${path}/range`, 'two numbers', range);
    valid = [pair[0] as number, pair[1] as number];
  }
  const words = new Map<number, string>();
  const enumeration = from['enumeration'];
  if (enumeration !== null && enumeration !== undefined) {
    for (const [key, word] of Object.entries(object(enumeration, `${path}/enumeration`))) {
      if (typeof word !== 'string' || !/^-?\d+$/.test(key))
        fail(`${path}/enumeration/${key}`, 'an integer with its word', word);
      words.set(Number(key), word as string);
    }
  }
  const role = from['role'];
  const sigma = from['sigma_column'];
  const name = text(from, 'name', path);
  return {
    name,
    title: text(from, 'title', path, name),
    description: text(from, 'description', path, ''),
    unit: text(from, 'unit', path, '1'),
    group: text(from, 'group', path, ''),
    decimals: Math.min(9, Math.max(0, Math.trunc(number(from, 'decimals', path, 2)) || 0)),
    range: valid,
    limits: read_limits(from['limits'], `${path}/limits`),
    enumeration: words,
    role: typeof role === 'string' && role !== '' ? role : null,
    sigma_column: typeof sigma === 'string' && sigma !== '' ? sigma : null,
    interval: read_interval(from['interval'], `${path}/interval`),
    strip: read_strip(from['strip'], `${path}/strip`),
    text: flag(from, 'text', path, false),
  };
}

function read_table(value: unknown, path: string, place: number): Table {
  const from = object(value, path);
  const columns = array(from['columns'], `${path}/columns`).map((entry, i) =>
    read_column(entry, `${path}/columns/${i}`),
  );
  const id = number(from, 'id', path);
  if (id !== place) fail(`${path}/id`, `${place}, its place among the tables`, from['id']);
  const kind = one_of(from, 'kind', path, ['packet', 'batch', 'estimate', 'link'] as const);
  const first_text = columns.findIndex((column) => column.text);
  return {
    id,
    name: text(from, 'name', path),
    title: text(from, 'title', path, ''),
    kind,
    vehicle: number(from, 'vehicle', path, -1),
    period_s: number(from, 'period_s', path, 0),
    columns,
    number_count: first_text < 0 ? columns.length : first_text,
  };
}

function read_site(value: unknown, path: string): Site {
  const from = value === null || value === undefined ? {} : object(value, path);
  const point = (name: string): GeoPoint => {
    const place = from[name] === undefined ? {} : object(from[name], `${path}/${name}`);
    return {
      latitude_deg: number(place, 'latitude_deg', `${path}/${name}`, NaN),
      longitude_deg: number(place, 'longitude_deg', `${path}/${name}`, NaN),
    };
  };
  return {
    name: text(from, 'name', path, ''),
    pad: point('pad'),
    station: point('station'),
    declination_deg: number(from, 'declination_deg', path, NaN),
    antenna_beamwidth_deg: number(from, 'antenna_beamwidth_deg', path, NaN),
    boundary: array(from['boundary'] ?? [], `${path}/boundary`).map((entry, i) => {
      const [latitude_deg, longitude_deg] = array(entry, `${path}/boundary/${i}`);
      if (typeof latitude_deg !== 'number' || typeof longitude_deg !== 'number')
        fail(`${path}/boundary/${i}`, 'latitude and longitude', entry);
      return { latitude_deg: latitude_deg as number, longitude_deg: longitude_deg as number };
    }),
  };
}

export function read_description(value: unknown, path = 'description'): Description {
  const from = object(value, path);
  if (from['version'] !== 1) fail(`${path}/version`, '1 (reload the page after updating the server)', from['version']);
  return {
    recording: read_recording(from['recording'], `${path}/recording`),
    site: read_site(from['site'], `${path}/site`),
    vehicles: array(from['vehicles'], `${path}/vehicles`).map((entry, i) => {
      const at = `${path}/vehicles/${i}`;
      const vehicle = object(entry, at);
      const name = text(vehicle, 'name', at);
      return {
        name,
        title: text(vehicle, 'title', at, name),
        rocket: flag(vehicle, 'has_rocket', at, true),
        parachutes: array(vehicle['parachutes'] ?? [], `${at}/parachutes`).map((parachute, k) => {
          const where = `${at}/parachutes/${k}`;
          const opens = object(parachute, where);
          return {
            name: text(opens, 'name', where),
            below_m: number(opens, 'opens_below_m', where, NaN),
            after_s: number(opens, 'opens_after_s', where, 0),
          };
        }),
        more: vehicle,
      };
    }),
    links: array(from['links'] ?? [], `${path}/links`).map((entry, i) => {
      const at = `${path}/links/${i}`;
      const link = object(entry, at);
      const place = link['place'] ? object(link['place'], `${at}/place`) : undefined;
      return {
        name: text(link, 'name', at),
        uri: text(link, 'uri', at, ''),
        vehicle: number(link, 'vehicle', at, 0),
        ...(place && {
          place: {
            latitude_deg: number(place, 'latitude_deg', `${at}/place`),
            longitude_deg: number(place, 'longitude_deg', `${at}/place`),
          },
        }),
      };
    }),
    tables: array(from['tables'], `${path}/tables`).map((entry, i) => read_table(entry, `${path}/tables/${i}`, i)),
  };
}
