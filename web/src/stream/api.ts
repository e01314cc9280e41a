/** The HTTP API of protocol/STREAM.md, section 3: requests and checked answers. Errors carry the server's sentence. */
import type { TapeSeconds } from './clocks';
import { read_series, type Series } from './blocks';
import { read_description, read_recording, type Description, type Recording } from './description';
import { array, flag, number, object, text } from './json';
import { NoAnswer } from './no_answer';
import { read_event, read_latest, type TapeEvent, type LatestRow, type SessionRole } from './messages';

const kTimeoutMs = 10_000; // the server's own limit for a request
const kNotReady = 503; // so soon after a recording begins that its file is not on the disk, or every reader is busy
const kAgainMs = 500;
const kTries = 8;
const kPagesMax = 1000; // a server whose pages never end is not believed

async function answer_to(path: string, init: RequestInit): Promise<Response> {
  try {
    return await fetch(path, { ...init, signal: AbortSignal.timeout(kTimeoutMs), credentials: 'same-origin' });
  } catch {
    throw new NoAnswer();
  }
}

export async function request(path: string, init: RequestInit = {}): Promise<Response> {
  let answer = await answer_to(path, init);
  for (let tries = 1; answer.status === kNotReady && init.method === undefined && tries < kTries; tries++) {
    await new Promise((done) => setTimeout(done, kAgainMs));
    answer = await answer_to(path, init);
  }
  if (answer.ok) return answer;
  let sentence = `${answer.status} ${answer.statusText}`;
  try {
    const body: unknown = await answer.json();
    if (typeof body === 'object' && body !== null && 'error' in body && typeof body.error === 'string')
      sentence = body.error;
  } catch {
    // The status line is all the server said.
  }
  throw new Error(sentence);
}

/** The JSON object that a request is answered with. */
export async function json(path: string): Promise<Record<string, unknown>> {
  const body: unknown = await (await request(path)).json();
  if (typeof body !== 'object' || body === null) throw new Error(`${path}: the answer is not a JSON object`);
  return body as Record<string, unknown>;
}

export async function remove(path: string): Promise<void> {
  await request(path, { method: 'DELETE' });
}

export const posted = (path: string, body: object): Promise<Response> =>
  request(path, { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(body) });

const kNotRecorded = 202; // done, and not in the recording

export async function post(path: string, body: object): Promise<void> {
  const answer = await posted(path, body);
  if (answer.status === kNotRecorded) throw new Error(text(object(await answer.json(), path), 'why', path));
}

const at = (id: string): string => `/api/recordings/${encodeURIComponent(id)}`;

/** The members of a list that comes in pages, as `read` makes them. */
async function all_pages<T>(path: string, name: string, read: (entry: unknown, at: string) => T): Promise<T[]> {
  const all: T[] = [];
  for (let next: unknown = null, pages = 0; pages < kPagesMax; pages++) {
    const given: string | number | null = typeof next === 'string' || typeof next === 'number' ? next : null;
    const page = await json(given === null ? path : `${path}?after=${encodeURIComponent(given)}`);
    const list = page[name];
    if (!Array.isArray(list)) throw new Error(`${path}: the answer has no list`);
    all.push(...list.map((entry, i) => read(entry, `${name}/${all.length + i}`)));
    next = page['next'] ?? null;
    if (next === null) break;
  }
  return all;
}

export const fetch_recordings = (): Promise<Recording[]> => all_pages('/api/recordings', 'recordings', read_recording);
export const fetch_description = async (id: string): Promise<Description> =>
  read_description(await json(`${at(id)}/description`));
export const fetch_events = (id: string): Promise<TapeEvent[]> => all_pages(`${at(id)}/events`, 'events', read_event);

export async function fetch_latest(id: string, t_s: TapeSeconds): Promise<LatestRow[]> {
  return read_latest((await json(`${at(id)}/latest?t_s=${t_s}`))['latest']);
}

/** An address at which others reach the station. */
export interface JoinAddress {
  address: string;
  /** What they open there. */
  link: string;
  encrypted: boolean;
}

export async function fetch_join(): Promise<JoinAddress[]> {
  return array((await json('/api/join'))['addresses'], 'addresses').map((entry, i) => {
    const path = `addresses/${i}`;
    const from = object(entry, path);
    return {
      address: text(from, 'address', path),
      link: text(from, 'link', path),
      encrypted: flag(from, 'encrypted', path),
    };
  });
}

/** A picture of a code that leads to that address's link. */
export const join_code = (address: string): string => `/api/join.svg?address=${encodeURIComponent(address)}`;

/** A frame of a link and what the decoder made of it, in the server's words. */
export interface LinkFrame {
  t_rx_s: TapeSeconds;
  bytes: number;
  /** Its first bytes, two digits each. */
  hex: string;
  frame_verdict: string;
  decode_verdict: string;
  packet_verdict: string;
  /** NaN: not known. */
  apid: number;
  sequence_count: number;
}

function read_frame(value: unknown): LinkFrame {
  const from = object(value, 'frames/0');
  return {
    t_rx_s: number(from, 't_rx_s', 'frames/0'),
    bytes: number(from, 'octets', 'frames/0'),
    hex: text(from, 'hex', 'frames/0'),
    frame_verdict: text(from, 'frame_verdict', 'frames/0'),
    decode_verdict: text(from, 'decode_verdict', 'frames/0'),
    packet_verdict: text(from, 'packet_verdict', 'frames/0'),
    apid: number(from, 'apid', 'frames/0'),
    sequence_count: number(from, 'sequence_count', 'frames/0'),
  };
}

/** The newest frame of a link that gave a packet, or that gave none; undefined: there is none of late. */
export async function fetch_newest_frame(
  id: string,
  link: string,
  which: 'good' | 'bad',
): Promise<LinkFrame | undefined> {
  const list = (await json(`${at(id)}/frames?newest=${which}&link=${encodeURIComponent(link)}`))['frames'];
  if (!Array.isArray(list)) throw new Error('frames: the answer has no list');
  return list.length > 0 ? read_frame(list[0]) : undefined;
}

export interface SeriesWindow {
  table: number;
  /** Absent: the whole tape. */
  from_s?: TapeSeconds;
  to_s?: TapeSeconds;
  points: number;
  /** Names of columns; absent: every number column. */
  columns?: readonly string[];
}

/** Number columns of a table over a window. */
export async function fetch_series(id: string, window: SeriesWindow): Promise<Series> {
  const range =
    window.from_s === undefined || window.to_s === undefined ? '' : `&from_s=${window.from_s}&to_s=${window.to_s}`;
  const columns = window.columns ? `&columns=${window.columns.map(encodeURIComponent).join(',')}` : '';
  const path = `${at(id)}/series?table=${window.table}${range}&points=${window.points}${columns}`;
  return read_series(await (await request(path)).arrayBuffer());
}

export const download_address = (id: string): string => `${at(id)}/download`;

export async function fetch_role(): Promise<SessionRole> {
  return (await json('/api/session'))['role'] === 'operator' ? 'operator' : 'viewer';
}

export const post_key = (key: string): Promise<void> => post('/api/session', { key });
/** For another device; `svg`: the link's QR code. */
export interface GivenLink {
  link: string;
  svg: string;
}

async function given_link(address: string, body: object): Promise<GivenLink> {
  const from = object(await (await posted(address, body)).json(), 'link');
  return { link: text(from, 'link', 'link'), svg: text(from, 'svg', 'link', '') };
}

/** Makes another device the operator's in place of this one. */
export const fetch_hand_over = (): Promise<GivenLink> => given_link('/api/session/hand_over', {});
export const end_session = (): Promise<void> => remove('/api/session');
export const post_meta = (id: string, meta: { name?: string; notes?: string }): Promise<void> =>
  post(`${at(id)}/meta`, meta);
export const post_marker = (text: string, t_s: TapeSeconds): Promise<void> => post('/api/live/marker', { text, t_s });
export const post_note = (text: string): Promise<void> => post('/api/live/note', { text });
/** Of the marker or note whose event has this key. */
export const post_change_mark = (key: string, text: string): Promise<void> =>
  post('/api/live/change_mark', { key, text });
export const post_take_back = (key: string): Promise<void> => post('/api/live/take_back', { key });
/** Of the flight that a vehicle is on, or else of its next. */
export const post_flight_name = (vehicle: string, name: string): Promise<void> =>
  post('/api/live/flight_name', { vehicle, name });
export const post_acknowledge = (key: string): Promise<void> => post('/api/live/acknowledge', { key });
export const post_shelve = (key: string, for_s: number): Promise<void> => post('/api/live/shelve', { key, for_s });
export const post_unshelve = (key: string): Promise<void> => post('/api/live/unshelve', { key });
export type CountdownStep = 'run' | 'hold' | 'resume' | 'off';
/** `left_s` with run, perhaps with hold; `reason` with hold. */
export const post_countdown = (body: {
  step: CountdownStep;
  left_s?: number | undefined;
  reason?: string;
}): Promise<void> => post('/api/live/countdown', body);
export const post_new_recording = (name: string): Promise<void> => post('/api/live/recording', { name });

// Ground tests and the poll

export const report_address = (id: string): string => `${at(id)}/report`;

export const post_procedure = (vehicle: string, procedure: string, what: 'begin' | 'end', by: string): Promise<void> =>
  post('/api/live/procedure', { vehicle, procedure, do: what, by });
export type StepAct = 'done' | 'waive' | 'repeat';
export const post_step = (vehicle: string, step: string, what: StepAct, by: string, note: string): Promise<void> =>
  post('/api/live/step', { vehicle, step, do: what, by, note });
export const post_statement = (
  vehicle: string,
  check: string,
  holds: boolean,
  by: string,
  note: string,
): Promise<void> => post('/api/live/statement', { vehicle, check, holds, by, note });
/** `vehicle` null: of the station, such as the wind. */
export const post_entered = (vehicle: string | null, name: string, value: number, by: string): Promise<void> =>
  post('/api/live/entered', { vehicle, name, value, by });
export const post_ask = (position: string): Promise<void> => post('/api/live/poll', { position, do: 'ask' });
export const post_answer = (position: string, go: boolean, by: string, note: string): Promise<void> =>
  post('/api/live/answer', { position, go, by, note });

/** Gives a device the right to answer for a position, and nothing else. */
export const fetch_position_link = (position: string): Promise<GivenLink> =>
  given_link('/api/live/position', { position });

/** What that link carries, for this device's own cookie. */
export const post_position_key = (position: string, key: string): Promise<void> =>
  post('/api/session', { key, position });

/** The position that this device answers for; empty: none. */
export async function fetch_position(): Promise<string> {
  return text(object(await json('/api/session'), 'session'), 'position', 'session', '');
}
