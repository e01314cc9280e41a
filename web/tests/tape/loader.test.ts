/** What is asked of the server for a cursor that the page holds no rows for, and what becomes of late answers. */
import { afterEach, describe, expect, it, vi } from 'vitest';
import { NoAnswer } from '../../src/stream/api';
import { Loader } from '../../src/tape/loader';
import { Tape } from '../../src/tape/tape';
import { column, description, table } from '../support/builders';

interface Asked {
  t_s: number;
  answer(value: number): void;
  fail(): void;
}

/** Requests that wait until the test answers them. */
function listen(): Asked[] {
  const asked: Asked[] = [];
  vi.stubGlobal('fetch', (path: string) => {
    const t_s = Number(new URL(path, 'http://station').searchParams.get('t_s'));
    return new Promise<Response>((resolve, reject) =>
      asked.push({
        t_s,
        answer: (value) => resolve(Response.json({ latest: [{ table: 0, t_s, values: [value] }] })),
        fail: () => reject(new TypeError('network')),
      }),
    );
  });
  return asked;
}

function begin(): { tape: Tape; loader: Loader; faults: unknown[] } {
  const tape = new Tape(description([table('v/baro', 'packet', [column('static_pressure', 'Pa')])]), 'replay', []);
  const faults: unknown[] = [];
  const loader = new Loader(tape, { on_busy: () => undefined, on_fault: (...fault) => faults.push(fault) });
  return { tape, loader, faults };
}
const at_cursor = (tape: Tape): number => tape.value_at_cursor(0, 0).value;

afterEach(() => vi.unstubAllGlobals());

describe('a loader', () => {
  it('asks one thing at a time, and of what was wanted meanwhile only the last', async () => {
    const asked = listen();
    const { tape, loader } = begin();
    for (const t_s of [4, 6, 7]) {
      tape.set_cursor(t_s);
      loader.look();
    }
    expect(asked.map((one) => one.t_s)).toEqual([4]);
    asked[0]?.answer(40);
    await vi.waitFor(() => expect(asked.map((one) => one.t_s)).toEqual([4, 7]));
    asked[1]?.answer(70);
    await vi.waitFor(() => expect(at_cursor(tape)).toBe(70));
  });
  it('takes nothing for a tape that is not shown any more', async () => {
    const asked = listen();
    const { tape, loader } = begin();
    tape.set_cursor(4);
    loader.look();
    loader.look();
    loader.stop();
    asked[0]?.answer(40);
    await new Promise((done) => setTimeout(done, 0));
    expect([at_cursor(tape), asked.length]).toEqual([NaN, 1]);
  });
  it('says what went wrong and can be asked again', async () => {
    const asked = listen();
    const { tape, loader, faults } = begin();
    tape.set_cursor(4);
    loader.look();
    asked[0]?.fail();
    await vi.waitFor(() => expect(faults).toEqual([['failed', new NoAnswer()]]));
    await vi.waitFor(() => {
      loader.look();
      expect(asked.length).toBe(2);
    });
  });
});
