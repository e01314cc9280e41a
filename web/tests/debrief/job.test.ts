/** Waiting for the station's background work, with a station that answers as told. */
import { afterEach, beforeEach, expect, it, vi } from 'vitest';
import type * as jobs from '../../src/debrief/job.svelte';

let module: typeof jobs;
const asked: string[] = [];
let states: object[];

beforeEach(async () => {
  vi.useFakeTimers();
  vi.stubGlobal(
    '$state',
    Object.assign((value: unknown) => value, { raw: (value: unknown) => value }),
  );
  asked.length = 0;
  vi.stubGlobal('fetch', (path: string, init: RequestInit) => {
    asked.push(`${init.method ?? 'GET'} ${path}`);
    if (init.method === 'POST') return Promise.resolve(Response.json({ id: 'j7' }, { status: 202 }));
    if (init.method === 'DELETE') return Promise.resolve(Response.json({}));
    return Promise.resolve(Response.json(states.length > 1 ? states.shift() : states[0]));
  });
  module = await import('../../src/debrief/job.svelte');
});
afterEach(() => {
  vi.useRealTimers();
  vi.unstubAllGlobals();
});

const job = (state: string, fraction: number, result: unknown = null): object => ({
  id: 'j7',
  state,
  fraction,
  result,
});
const number_of = (result: unknown): number => {
  if (typeof result !== 'number') throw new Error('expected a number');
  return result;
};

it('ends with what is read of the result', async () => {
  states = [job('waiting', 0), job('working', 0.4), job('done', 1, 42)];
  const run = new module.JobRun(number_of);
  void run.start({ job: 'compare' });
  await vi.runAllTimersAsync();
  expect([run.stage, run.fraction, run.answer]).toEqual(['done', 1, 42]);
});

it('is stopped at the station too', async () => {
  states = [job('working', 0.1)];
  const run = new module.JobRun(number_of);
  void run.start({ job: 'compare' });
  await vi.advanceTimersByTimeAsync(2000);
  run.stop();
  const looks = asked.length;
  await vi.advanceTimersByTimeAsync(5000);
  expect(run.stage).toBe('stopped');
  expect(asked).toContain('DELETE /api/jobs/j7');
  expect(asked.length).toBe(looks);
});

it('fails with the words of the station, and with those of a result that cannot be read', async () => {
  states = [{ id: 'j7', state: 'failed', fraction: 0, error: 'flight 7: no barometer' }];
  const run = new module.JobRun(number_of);
  void run.start({ job: 'compare' });
  await vi.runAllTimersAsync();
  expect([run.stage, (run.failure as Error).message]).toEqual(['failed', 'flight 7: no barometer']);
  states = [job('done', 1, 'text')];
  void run.start({ job: 'compare' });
  await vi.runAllTimersAsync();
  expect([run.stage, (run.failure as Error).message]).toEqual(['failed', 'expected a number']);
});
