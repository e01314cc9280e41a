/** Descriptions, events and tapes for tests, plain unless a test says otherwise. */
import type { Column, Description, Table } from '../../src/stream/description';
import type { TapeEvent } from '../../src/stream/messages';
import { Tape } from '../../src/tape/tape';

export const column = (name: string, unit = '1', more: Partial<Column> = {}): Column => ({
  name,
  title: name,
  description: '',
  unit,
  group: 'G',
  decimals: 1,
  range: null,
  limits: [],
  enumeration: new Map(),
  role: null,
  sigma_column: null,
  interval: null,
  strip: null,
  text: false,
  ...more,
});

/** A value with its 1-sigma. */
export const pair = (name: string, unit = 'm', more: Partial<Column> = {}): Column[] => [
  column(name, unit, { sigma_column: `${name}_sigma`, ...more }),
  column(`${name}_sigma`, unit, { group: '' }),
];

export const words = (name: string, title: string, ...enumeration: string[]): Column =>
  column(name, '1', { title, decimals: 0, enumeration: new Map(enumeration.map((word, i) => [i, word])) });

export const table = (name: string, kind: Table['kind'], columns: Column[], more: Partial<Table> = {}): Table => ({
  id: 0,
  name,
  title: '',
  kind,
  vehicle: 0,
  period_s: 0.5,
  columns,
  number_count: columns.length,
  ...more,
});

const nowhere = { latitude_deg: NaN, longitude_deg: NaN };

/** One vehicle "v"; tables are numbered by their places. */
export const description = (tables: Table[], more: Partial<Description> = {}): Description => ({
  recording: {
    id: 'r',
    name: '',
    notes: '',
    utc_start_ms: 0,
    t_end_s: 100,
    live: false,
    damage: '',
    vehicles: '',
  },
  site: {
    name: '',
    pad: nowhere,
    station: nowhere,
    declination_deg: NaN,
    antenna_beamwidth_deg: NaN,
    boundary: [],
  },
  vehicles: [{ name: 'v', title: 'V', rocket: true, parachutes: [], more: {} }],
  links: [],
  tables: tables.map((one, id) => ({ ...one, id })),
  ...more,
});

/** Key and what happened are one word. */
export const event = (
  id: number,
  t_s: number,
  kind: string,
  word: string,
  more: Partial<TapeEvent> = {},
): TapeEvent => ({
  id,
  t_s,
  t_found_s: t_s,
  t_sigma_s: 0.02,
  kind,
  level: 'note',
  vehicle: 0,
  key: word,
  event: word,
  text: word,
  advice: '',
  data: {},
  ...more,
});

export const phase = (id: number, t_s: number, word: string): TapeEvent =>
  event(id, t_s, 'phase', 'phase_began', { text: word, data: { phase: word } });

export const missing = (id: number, estimate: string, text: string): TapeEvent =>
  event(id, 0, 'recording', 'estimate_missing', { text, data: { estimate } });

export type Rows = Readonly<Record<string, Readonly<Record<string, number>>>>;

/** A replay that stands at `cursor_s` with these rows by table, each taken at 50 s. */
export function replay_at(
  cursor_s: number,
  about: Description,
  rows: Rows,
  events: readonly TapeEvent[] = [],
  roles: ReadonlyMap<string, string> = new Map(),
): Tape {
  const tape = new Tape(about, 'replay', [], roles);
  tape.set_cursor(cursor_s);
  tape.take_at_cursor(
    tape.tables.flatMap(({ table: { id, name, columns } }) => {
      const row = rows[name];
      return row ? [{ table: id, t_s: 50, values: Float64Array.from(columns, (c) => row[c.name] ?? NaN) }] : [];
    }),
  );
  for (const one of events) tape.log.add(one);
  return tape;
}
