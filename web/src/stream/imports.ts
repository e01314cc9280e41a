/** An on-board log on its way into a recording: sent in pieces, looked at, and what came of it. */
import { request } from './api';
import { flag, number, object, text } from './json';
import { list, maybe } from './json_lists';

const kPieceBytes = 60 * 1024; // a request's body is at most 64 KiB

export interface LogColumn {
  name: string;
  /** Its first cells, as they stand in the file. */
  first: readonly string[];
  is_number: boolean;
}

/** What the columns of a log mean, as protocol/schema/log.schema.json has it. */
export interface Mapping {
  title: string;
  separator: string;
  decimal: string;
  /** `is_onboard`: the clock of the radio's packets. */
  time: { column: string; unit: 's' | 'ms' | 'us'; is_onboard: boolean };
  columns: readonly MappedColumn[];
}

export interface MappedColumn {
  column: string;
  /** The channel of the dictionary that it is the same quantity as, "imu.samples.accel_body_x"; empty: none. */
  channel: string;
  title: string;
  unit: string;
  gain: number;
  offset: number;
  is_text: boolean;
}
export const kPlainColumn: Omit<MappedColumn, 'column'> = {
  channel: '',
  title: '',
  unit: '',
  gain: 1,
  offset: 0,
  is_text: false,
};

/** The first look at a log that was sent. */
export interface FirstLook {
  upload: string;
  kind: 'columns' | 'packets';
  columns: readonly LogColumn[];
  separator: string;
  /** What the station would take its columns for; undefined: it cannot say. */
  proposed: Mapping | undefined;
}

export interface ImportResult {
  recording: string;
  alignment: { method: string; offset_s: number; sigma_s: number };
  packets: { both: number; radio_only: number; log_only: number; differing: number };
  gaps: number;
  channels: readonly {
    channel: string;
    title: string;
    unit: string;
    n: number;
    mean: number;
    sd: number;
    worst: number;
    at_s: number;
  }[];
}

export function read_mapping(value: unknown, path: string): Mapping {
  const from = object(value, path);
  const time = object(from['time'], `${path}/time`);
  const unit = text(time, 'unit', `${path}/time`, 's');
  return {
    title: text(from, 'title', path, ''),
    separator: text(from, 'separator', path, ','),
    decimal: text(from, 'decimal', path, 'point'),
    time: {
      column: text(time, 'column', `${path}/time`, ''),
      unit: unit === 'ms' || unit === 'us' ? unit : 's',
      is_onboard: flag(time, 'is_onboard', `${path}/time`, false),
    },
    columns: list(from, 'columns', path, (entry, at) => {
      const column = object(entry, at);
      return {
        column: text(column, 'column', at),
        channel: text(column, 'channel', at, ''),
        title: text(column, 'title', at, ''),
        unit: text(column, 'unit', at, ''),
        gain: number(column, 'gain', at, 1),
        offset: number(column, 'offset', at, 0),
        is_text: flag(column, 'is_text', at, false),
      };
    }),
  };
}

export function read_first_look(value: unknown): FirstLook {
  const from = object(value, 'upload');
  return {
    upload: text(from, 'upload', 'upload'),
    kind: text(from, 'kind', 'upload') === 'packets' ? 'packets' : 'columns',
    columns: list(from, 'columns', 'upload', (entry, at) => {
      const column = object(entry, at);
      return {
        name: text(column, 'name', at),
        first: list(column, 'first', at, (cell, where) => text({ cell }, 'cell', where)),
        is_number: flag(column, 'is_number', at, true),
      };
    }),
    separator: text(from, 'separator', 'upload', ','),
    proposed: maybe(from, 'mapping', 'upload', read_mapping),
  };
}

/** Sends a log of a flight in pieces; `told` hears how much of it has gone, and says false to stop. */
export async function upload_log(
  file: Blob,
  flight: string,
  told: (fraction: number) => boolean,
): Promise<FirstLook | undefined> {
  let upload = '';
  for (let at = 0; ; at += kPieceBytes) {
    const last = at + kPieceBytes >= file.size;
    const which = upload === '' ? '' : `&upload=${encodeURIComponent(upload)}`;
    const whose = last ? `&flight=${encodeURIComponent(flight)}` : '';
    const answer = await request(`/api/import/upload?at=${at}${which}${whose}`, {
      method: 'POST',
      headers: { 'Content-Type': 'application/octet-stream' },
      body: file.slice(at, at + kPieceBytes),
    });
    const body: unknown = await answer.json();
    if (last) return read_first_look(body);
    upload = text(object(body, 'upload'), 'upload', 'upload');
    if (!told((at + kPieceBytes) / file.size)) return undefined;
  }
}

/** A mapping as the station reads it, and as log.json has it: what says nothing is left out. */
export const mapping_request = ({ title, columns, ...rest }: Mapping): object => ({
  ...(title === '' ? {} : { title }),
  ...rest,
  columns: columns
    .filter(({ column }) => column !== rest.time.column)
    .map(({ column, ...more }) => ({
      column,
      ...Object.fromEntries(
        Object.entries(more).filter(([key, value]) => value !== kPlainColumn[key as keyof typeof kPlainColumn]),
      ),
    })),
});

export function read_import(value: unknown): ImportResult {
  const from = object(value, 'import');
  const alignment = object(from['alignment'] ?? {}, 'import/alignment');
  const packets = object(from['packets'] ?? {}, 'import/packets');
  const count = (name: string): number => number(packets, name, 'import/packets', 0);
  return {
    recording: text(from, 'recording', 'import'),
    alignment: {
      method: text(alignment, 'method', 'import/alignment', ''),
      offset_s: number(alignment, 'offset_s', 'import/alignment', NaN),
      sigma_s: number(alignment, 'sigma_s', 'import/alignment', NaN),
    },
    packets: {
      both: count('both'),
      radio_only: count('radio_only'),
      log_only: count('log_only'),
      differing: count('differing'),
    },
    gaps: list(from, 'gaps', 'import', (gap) => gap).length,
    channels: list(from, 'channels', 'import', (entry, at) => {
      const channel = object(entry, at);
      const name = text(channel, 'channel', at);
      return {
        channel: name,
        title: text(channel, 'title', at, name),
        unit: text(channel, 'unit', at, '1'),
        n: number(channel, 'n', at, 0),
        mean: number(channel, 'mean', at, NaN),
        sd: number(channel, 'sd', at, NaN),
        worst: number(channel, 'worst', at, NaN),
        at_s: number(channel, 'at_s', at, NaN),
      };
    }),
  };
}
