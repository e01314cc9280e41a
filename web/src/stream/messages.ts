/**
 * Messages of the stream and answers of the HTTP API (protocol/STREAM.md, version 1): their types, and the checks that
 * turn `unknown` into them. Nothing past this folder handles unchecked JSON; "no value" (`null` in JSON) is NaN.
 */
import type { TapeSeconds, UtcMs } from './clocks';
import { read_description, type Description } from './description';
import { array, fail, flag, MessageError, number, object, one_of, text, texts, utc_ms, type Json } from './json';

export type Level = 'note' | 'advisory' | 'caution' | 'warning';
export type Mode = 'live' | 'replay';
export type SessionRole = 'viewer' | 'operator';

export interface LatestRow {
  table: number;
  t_s: TapeSeconds;
  values: Float64Array;
}

export interface TapeEvent {
  id: number;
  t_s: TapeSeconds;
  t_found_s: TapeSeconds;
  t_sigma_s: number;
  kind: string;
  level: Level;
  vehicle: number;
  /** Tells it from any other; an alert is cleared by an event with its key. */
  key: string;
  /** What happened, in the server's word: "liftoff"; empty when it does not know. */
  event: string;
  /** A sentence for people, shown as it is. */
  text: string;
  /** What to do about an alert, one sentence; empty for what is none. */
  advice: string;
  /** Named values behind the sentence, for programs. */
  data: Json;
}

export interface LinkStatus {
  name: string;
  state: string;
  detail: string;
  bytes: number;
  t_last_s: TapeSeconds;
}

export interface RecorderStatus {
  recording: boolean;
  fault: string;
  file_bytes: number;
}

export interface Hello {
  type: 'hello';
  role: SessionRole;
  server_id: string;
  description: Description;
  /** What people call each role: "static_pressure" is "static pressure". */
  roles: ReadonlyMap<string, string>;
  mode: Mode;
  latest: LatestRow[];
}
export interface EventMessage {
  type: 'event';
  event: TapeEvent;
}
/** Who of the viewers they are, and how well they keep up. */
export interface Audience {
  operators: number;
  replays: number;
  /** Of the slowest, to the last question whether it is there; NaN: none was asked yet. */
  answer_s: number;
  /** Updates left out for slow ones, since the server's start. */
  left_out: number;
  behind: number;
}
export interface Status {
  type: 'status';
  t_s: TapeSeconds;
  links: LinkStatus[];
  recorder: RecorderStatus;
  viewers: number;
  audience: Audience;
  utc_ms: UtcMs;
}
export interface Gap {
  type: 'gap';
  from_t_s: TapeSeconds;
  to_t_s: TapeSeconds;
}
export interface Replay {
  type: 'replay';
  cursor_s: TapeSeconds;
  playing: boolean;
  rate: number;
  t_end_s: TapeSeconds;
  /** Rows at the cursor; undefined when they were not asked for. */
  latest: LatestRow[] | undefined;
}
/** What time it was on the live tape when the answer was sent. */
export interface Time {
  type: 'time';
  t_s: TapeSeconds;
  request: number;
}
export interface ErrorMessage {
  type: 'error';
  message: string;
}
/** Where the one who leads a debrief stands: read by who follows (stream/led.ts). */
export interface LedMessage {
  type: 'led';
  body: Json;
}
/** What this connection may do has changed. */
export interface SessionMessage {
  type: 'session';
  role: SessionRole;
}
export type ServerMessage =
  Hello | EventMessage | Status | Gap | Replay | Time | LedMessage | SessionMessage | ErrorMessage;

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

export const kLevels = ['note', 'advisory', 'caution', 'warning'] as const;

export function read_event(value: unknown, path = 'event'): TapeEvent {
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
    event: from['event'] === null ? '' : text(from, 'event', path, ''),
    text: text(from, 'text', path, ''),
    advice: text(from, 'advice', path, ''),
    data: object(from['data'] ?? {}, `${path}/data`),
  };
}

function read_status(from: Json): Status {
  const recorder = object(from['recorder'], 'status/recorder');
  const audience = object(from['audience'] ?? {}, 'status/audience');
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
      file_bytes: number(recorder, 'file_bytes', 'status/recorder', NaN),
    },
    viewers: number(from, 'viewers', 'status', 0),
    audience: {
      operators: number(audience, 'operators', 'status/audience', 0),
      replays: number(audience, 'replays', 'status/audience', 0),
      answer_s: number(audience, 'answer_s', 'status/audience', NaN),
      left_out: number(audience, 'left_out', 'status/audience', 0),
      behind: number(audience, 'behind', 'status/audience', 0),
    },
    utc_ms: utc_ms(from, 'utc_ns', 'status'),
  };
}

const kTypes = ['hello', 'event', 'status', 'gap', 'replay', 'time', 'led', 'session', 'error'] as const;

/** Reads one text message; throws MessageError naming the member that is wrong. */
export function read_message(json: string): ServerMessage {
  let parsed: unknown;
  try {
    parsed = JSON.parse(json);
  } catch {
    throw new MessageError('message: not JSON');
  }
  const from = object(parsed, 'message');
  const type = one_of(from, 'type', 'message', kTypes);
  switch (type) {
    case 'hello':
      if (from['version'] !== 1)
        fail('hello/version', '1 (reload the page after updating the server)', from['version']);
      return {
        type,
        role: one_of(from, 'role', 'hello', ['viewer', 'operator'] as const),
        server_id: text(from, 'server_id', 'hello', ''),
        description: read_description(from['description']),
        roles: texts(from['roles'] ?? {}, 'hello/roles'),
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
        latest: from['latest'] === undefined ? undefined : read_latest(from['latest'], 'replay/latest'),
      };
    case 'time':
      return { type, t_s: number(from, 't_s', 'time'), request: number(from, 'request', 'time', NaN) };
    case 'led':
      return { type, body: from };
    case 'session':
      return { type, role: one_of(from, 'role', 'session', ['viewer', 'operator'] as const) };
    case 'error':
      return { type, message: text(from, 'message', 'error') };
    default:
      return type satisfies never;
  }
}
