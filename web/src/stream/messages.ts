/**
 * Messages of the stream and answers of the HTTP API (protocol/STREAM.md, version 1): their types, and the checks that
 * turn `unknown` into them. Nothing past this file handles unchecked JSON. Times `t_s` are seconds since the
 * recording's start; "no value" (`null` in JSON) is NaN.
 */

export type TableKind = 'packet' | 'batch' | 'estimate' | 'link';
export type Level = 'note' | 'advisory' | 'caution' | 'warning';
export type Mode = 'live' | 'replay';
export type SessionRole = 'viewer' | 'operator';

export interface Column {
  name: string;
  description: string;
  unit: string;
  group: string;
  decimals: number;
  range: readonly [number, number] | null;
  enumeration: ReadonlyMap<number, string>;
  role: string | null;
  sigma_column: string | null;
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
  utc_start_ms: number;
  t_end_s: number;
  live: boolean;
  closed: boolean;
  file_bytes: number;
  damage: string;
  /** Comma-separated; only in the list of recordings. */
  vehicles: string;
}

export interface Vehicle {
  name: string;
  title: string;
  /** Whether it flies: its file describes a rocket. */
  rocket: boolean;
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
  /** Corners; closed by itself, empty when there is none. */
  boundary: readonly GeoPoint[];
}

export interface Link {
  name: string;
  uri: string;
  vehicle: number;
}

export interface Description {
  recording: Recording;
  software: string;
  site: Site;
  vehicles: readonly Vehicle[];
  links: readonly Link[];
  tables: readonly Table[];
}

export interface LatestRow {
  table: number;
  t_s: number;
  values: Float64Array;
}

export interface FlightEvent {
  id: number;
  t_s: number;
  t_found_s: number;
  t_sigma_s: number;
  kind: string;
  level: Level;
  vehicle: number;
  key: string;
  text: string;
}

export interface LinkStatus {
  name: string;
  state: string;
  detail: string;
  bytes: number;
  t_last_s: number;
}

export interface RecorderStatus {
  recording: boolean;
  fault: string;
  queue_bytes: number;
  dropped_bytes: number;
  file_bytes: number;
  disk_free_bytes: number;
}

export interface Hello {
  type: 'hello';
  role: SessionRole;
  server_id: string;
  description: Description;
  mode: Mode;
  latest: LatestRow[];
}
export interface EventMessage {
  type: 'event';
  event: FlightEvent;
}
export interface Status {
  type: 'status';
  t_s: number;
  links: LinkStatus[];
  recorder: RecorderStatus;
  viewers: number;
  utc_ms: number;
}
export interface Gap {
  type: 'gap';
  from_t_s: number;
  to_t_s: number;
}
export interface Replay {
  type: 'replay';
  cursor_s: number;
  playing: boolean;
  rate: number;
  t_end_s: number;
  latest: LatestRow[];
}
export interface ErrorMessage {
  type: 'error';
  message: string;
}
export type ServerMessage = Hello | EventMessage | Status | Gap | Replay | ErrorMessage;

/** What was wrong in a message, with the path to the member. */
export class MessageError extends Error {
  override name = 'MessageError';
}

type Json = Record<string, unknown>;

function fail(path: string, wanted: string, value: unknown): never {
  const got = value === null ? 'null' : Array.isArray(value) ? 'an array' : typeof value;
  throw new MessageError(`${path}: expected ${wanted}, got ${got}`);
}

function object(value: unknown, path: string): Json {
  if (typeof value !== 'object' || value === null || Array.isArray(value)) fail(path, 'an object', value);
  return value as Json;
}

function array(value: unknown, path: string): unknown[] {
  if (!Array.isArray(value)) fail(path, 'an array', value);
  return value;
}

function text(from: Json, name: string, path: string, fallback?: string): string {
  const value = from[name];
  if (typeof value === 'string') return value;
  if (value === undefined && fallback !== undefined) return fallback;
  return fail(`${path}/${name}`, 'a text', value);
}

/** A number; `null` is NaN. */
function number(from: Json, name: string, path: string, fallback?: number): number {
  const value = from[name];
  if (typeof value === 'number') return value;
  if (value === null) return NaN;
  if (value === undefined && fallback !== undefined) return fallback;
  return fail(`${path}/${name}`, 'a number or null', value);
}

function flag(from: Json, name: string, path: string, fallback?: boolean): boolean {
  const value = from[name];
  if (typeof value === 'boolean') return value;
  if (value === undefined && fallback !== undefined) return fallback;
  return fail(`${path}/${name}`, 'true or false', value);
}

function one_of<T extends string>(from: Json, name: string, path: string, allowed: readonly T[]): T {
  const value = from[name];
  const found = allowed.find((word) => word === value);
  return found ?? fail(`${path}/${name}`, `one of ${allowed.join(', ')}`, value);
}

/** Nanoseconds since 1970 as a decimal string, to milliseconds (a double holds them exactly enough for a clock). */
function utc_ms(from: Json, name: string, path: string): number {
  const value = from[name];
  if (typeof value !== 'string' || !/^-?\d{1,19}$/.test(value)) fail(`${path}/${name}`, 'nanoseconds as text', value);
  return Number(BigInt(value as string) / 1000n) / 1000;
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
    closed: flag(from, 'closed', path, false),
    file_bytes: number(from, 'file_bytes', path, NaN),
    damage: text(from, 'damage', path, ''),
    vehicles: text(from, 'vehicles', path, ''),
  };
}

function read_column(value: unknown, path: string): Column {
  const from = object(value, path);
  const range = from['range'];
  let limits: readonly [number, number] | null = null;
  if (range !== null && range !== undefined) {
    const pair = array(range, `${path}/range`);
    if (pair.length !== 2 || typeof pair[0] !== 'number' || typeof pair[1] !== 'number')
      fail(`${path}/range`, 'two numbers', range);
    limits = [pair[0] as number, pair[1] as number];
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
  return {
    name: text(from, 'name', path),
    description: text(from, 'description', path, ''),
    unit: text(from, 'unit', path, '1'),
    group: text(from, 'group', path, ''),
    decimals: Math.min(9, Math.max(0, Math.trunc(number(from, 'decimals', path, 2)) || 0)),
    range: limits,
    enumeration: words,
    role: typeof role === 'string' && role !== '' ? role : null,
    sigma_column: typeof sigma === 'string' && sigma !== '' ? sigma : null,
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
  const first_text = columns.findIndex((column) => column.text);
  return {
    id,
    name: text(from, 'name', path),
    title: text(from, 'title', path, ''),
    kind: one_of(from, 'kind', path, ['packet', 'batch', 'estimate', 'link'] as const),
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
    software: text(from, 'software', path, ''),
    site: read_site(from['site'], `${path}/site`),
    vehicles: array(from['vehicles'], `${path}/vehicles`).map((entry, i) => {
      const at = `${path}/vehicles/${i}`;
      const vehicle = object(entry, at);
      const name = text(vehicle, 'name', at);
      return { name, title: text(vehicle, 'title', at, name), rocket: flag(vehicle, 'has_rocket', at, true) };
    }),
    links: array(from['links'] ?? [], `${path}/links`).map((entry, i) => {
      const at = `${path}/links/${i}`;
      const link = object(entry, at);
      return { name: text(link, 'name', at), uri: text(link, 'uri', at, ''), vehicle: number(link, 'vehicle', at, 0) };
    }),
    tables: array(from['tables'], `${path}/tables`).map((entry, i) => read_table(entry, `${path}/tables/${i}`, i)),
  };
}

export function read_latest(value: unknown, path = 'latest'): LatestRow[] {
  return array(value, path).map((entry, i) => {
    const at = `${path}/${i}`;
    const row = object(entry, at);
    const values = array(row['values'], `${at}/values`);
    const numbers = new Float64Array(values.length).fill(NaN);
    values.forEach((v, k) => {
      if (typeof v === 'number') numbers[k] = v;
    });
    return { table: number(row, 'table', at), t_s: number(row, 't_s', at), values: numbers };
  });
}

const kLevels = ['note', 'advisory', 'caution', 'warning'] as const;

export function read_event(value: unknown, path = 'event'): FlightEvent {
  const from = object(value, path);
  const t_s = number(from, 't_s', path);
  return {
    id: number(from, 'id', path),
    t_s,
    t_found_s: number(from, 't_found_s', path, t_s),
    t_sigma_s: number(from, 't_sigma_s', path, 0),
    kind: text(from, 'kind', path),
    level: one_of(from, 'level', path, kLevels),
    vehicle: number(from, 'vehicle', path, -1),
    key: text(from, 'key', path, ''),
    text: text(from, 'text', path, ''),
  };
}

function read_status(from: Json): Status {
  const recorder = object(from['recorder'], 'status/recorder');
  return {
    type: 'status',
    t_s: number(from, 't_s', 'status'),
    links: array(from['links'], 'status/links').map((entry, i) => {
      const at = `status/links/${i}`;
      const link = object(entry, at);
      return {
        name: text(link, 'name', at),
        state: text(link, 'state', at),
        detail: text(link, 'detail', at, ''),
        bytes: number(link, 'bytes', at, 0),
        t_last_s: number(link, 't_last_s', at, NaN),
      };
    }),
    recorder: {
      recording: flag(recorder, 'recording', 'status/recorder'),
      fault: text(recorder, 'fault', 'status/recorder', ''),
      queue_bytes: number(recorder, 'queue_bytes', 'status/recorder', 0),
      dropped_bytes: number(recorder, 'dropped_bytes', 'status/recorder', 0),
      file_bytes: number(recorder, 'file_bytes', 'status/recorder', NaN),
      disk_free_bytes: number(recorder, 'disk_free_bytes', 'status/recorder', NaN),
    },
    viewers: number(from, 'viewers', 'status', 0),
    utc_ms: utc_ms(from, 'utc_ns', 'status'),
  };
}

/** Reads one text message; throws MessageError naming the member that is wrong. */
export function read_message(json: string): ServerMessage {
  let parsed: unknown;
  try {
    parsed = JSON.parse(json);
  } catch {
    throw new MessageError('message: not JSON');
  }
  const from = object(parsed, 'message');
  const type = one_of(from, 'type', 'message', ['hello', 'event', 'status', 'gap', 'replay', 'error'] as const);
  switch (type) {
    case 'hello':
      if (from['version'] !== 1)
        fail('hello/version', '1 (reload the page after updating the server)', from['version']);
      return {
        type,
        role: one_of(from, 'role', 'hello', ['viewer', 'operator'] as const),
        server_id: text(from, 'server_id', 'hello', ''),
        description: read_description(from['description']),
        mode: one_of(from, 'mode', 'hello', ['live', 'replay'] as const),
        latest: read_latest(from['latest'] ?? []),
      };
    case 'event':
      return { type, event: read_event(from) };
    case 'status':
      return read_status(from);
    case 'gap':
      return { type, from_t_s: number(from, 'from_t_s', 'gap'), to_t_s: number(from, 'to_t_s', 'gap') };
    case 'replay':
      return {
        type,
        cursor_s: number(from, 'cursor_s', 'replay'),
        playing: flag(from, 'playing', 'replay'),
        rate: number(from, 'rate', 'replay', 1),
        t_end_s: number(from, 't_end_s', 'replay'),
        latest: from['latest'] === undefined ? [] : read_latest(from['latest'], 'replay/latest'),
      };
    case 'error':
      return { type, message: text(from, 'message', 'error') };
    default:
      return type satisfies never;
  }
}
