/** The window of the open strips as CSV (RFC 4180): a line for each time at which any of them has a row. */
import { fetch_series } from '../../stream/api';
import type { Series as Rows } from '../../stream/blocks';
import { utc_at, type TapeSeconds, type UtcMs } from '../../stream/clocks';
import type { Description } from '../../stream/description';
import type { Strip } from '../../tape/strips';
import type { Tape } from '../../tape/tape';

const kEnd = '\r\n';
const kPoints = 8192; // the most that a request gives
const quoted = (text: string): string => (/[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);

interface Field {
  table: number;
  column: number;
  name: string;
}

/** Columns that the strips show, each once, with its 1-sigma; values stay in the units of the recording. */
export function csv_fields(description: Description, strips: readonly Strip[]): Field[] {
  const fields = new Map<string, Field>();
  for (const { table: id, column: place, sigma } of strips.flatMap((strip) => strip.series)) {
    const table = description.tables[id];
    for (const at of [place, sigma]) {
      const column = table?.columns[at];
      if (!table || !column) continue;
      fields.set(`${id} ${at}`, { table: id, column: at, name: `${table.name}/${column.name} [${column.unit}]` });
    }
  }
  return [...fields.values()];
}

/** `rows` by table, as the server answered; of decimated ones the means are written, and the heading says so. */
export function csv_of(
  fields: readonly Field[],
  rows: ReadonlyMap<number, Rows>,
  utc_start_ms: UtcMs,
  liftoff_s: TapeSeconds | undefined,
): string {
  const lines = new Map<number, string[]>();
  const first = 2 + (liftoff_s === undefined ? 0 : 1);
  fields.forEach((field, k) => {
    const series = rows.get(field.table);
    for (let i = 0; series && i < series.rows; i++) {
      const t_s = series.t_s[i] ?? NaN;
      let line = lines.get(t_s);
      if (!line) {
        const since = liftoff_s === undefined ? [] : [(t_s - liftoff_s).toFixed(6)];
        line = [t_s.toFixed(6), new Date(utc_at(utc_start_ms, t_s)).toISOString(), ...since];
        lines.set(t_s, [...line, ...fields.map(() => '')]);
        line = lines.get(t_s) ?? line;
      }
      const value = series.mean[field.column * series.rows + i] ?? NaN;
      line[first + k] = Number.isNaN(value) ? '' : String(value);
    }
  });
  const named = fields.map(({ name, table }) => (rows.get(table)?.decimated === true ? `${name} mean` : name));
  const heading = ['t_s', 'utc', ...(liftoff_s === undefined ? [] : ['since_liftoff_s']), ...named];
  const sorted = [...lines.entries()].sort(([a], [b]) => a - b).map(([, line]) => line);
  return [heading, ...sorted].map((line) => line.map(quoted).join(',')).join(kEnd) + kEnd;
}

/** What the window shows of a vehicle's strips, asked from the station. */
export async function fetch_csv(tape: Tape, vehicle: number, strips: readonly Strip[]): Promise<string> {
  const { description } = tape;
  const { id, utc_start_ms } = description.recording;
  const fields = csv_fields(description, strips);
  const window = { from_s: tape.from_s, to_s: Math.min(tape.head_s, tape.to_s), points: kPoints };
  const rows = new Map<number, Rows>();
  for (const table of new Set(fields.map((field) => field.table)))
    rows.set(table, await fetch_series(id, { table, ...window }));
  return csv_of(fields, rows, utc_start_ms, tape.log.liftoff_s(vehicle, tape.cursor_s));
}
