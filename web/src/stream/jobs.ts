/** Work that the station does in the background (protocol/STREAM.md): asked for, looked at, stopped. */
import { json, posted, remove } from './api';
import { number, object, one_of, text } from './json';

export type JobState = 'waiting' | 'working' | 'done' | 'failed' | 'stopped';

export interface Job {
  state: JobState;
  /** Of the work, 0 to 1. */
  fraction: number;
  /** Unchecked: each kind has a reader of its own. */
  result: unknown;
  error: string;
}

export function read_job(value: unknown): Job {
  const from = object(value, 'job');
  return {
    state: one_of(from, 'state', 'job', ['waiting', 'working', 'done', 'failed', 'stopped'] as const),
    fraction: number(from, 'fraction', 'job', NaN),
    result: from['result'],
    error: text(from, 'error', 'job', ''),
  };
}

const at = (id: string): string => `/api/jobs/${encodeURIComponent(id)}`;

/** Its id. */
export const post_job = async (request: object): Promise<string> =>
  text(object(await (await posted('/api/jobs', request)).json(), 'job'), 'id', 'job');
export const fetch_job = async (id: string): Promise<Job> => read_job(await json(at(id)));
export const stop_job = (id: string): Promise<void> => remove(at(id));
