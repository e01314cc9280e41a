/** What is asked of the server for a cursor that the page holds no rows for, and what becomes of late answers. */
import { afterEach, describe, expect, it, vi } from 'vitest';
import { NoAnswer } from '../../src/stream/no_answer';
import { read_blocks } from '../../src/stream/blocks';
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
  it('lets no late answer for another cursor take the place of the rows that the stream brought', async () => {
    const asked = listen();
    const { tape, loader } = begin();
    loader.look(); // as a page does that begins
    tape.set_cursor(7); // where its address sends it; the stream answers that
    tape.take_at_cursor([{ table: 0, t_s: 7, values: new Float64Array([70]) }]);
    asked[0]?.answer(10);
    await new Promise((done) => setTimeout(done, 20));
    expect(at_cursor(tape)).toBe(70);
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

/** One column whose value is its row's time; the layouts of protocol/STREAM.md, sections 2 and 4. */
function little_endian(head: readonly number[], head_bytes: number, t_s: readonly number[]): ArrayBuffer {
  const bytes = new ArrayBuffer(head_bytes + 16 * t_s.length);
  const view = new DataView(bytes);
  head.forEach((value, i) => view.setUint8(i, value));
  [...t_s, ...t_s].forEach((value, i) => view.setFloat64(head_bytes + 8 * i, value, true));
  return bytes;
}
const series_of = (t_s: readonly number[]): ArrayBuffer =>
  little_endian([0x54, 0x53, 0x53, 0x31, 0, 0, 1, 0, t_s.length, 0, 0, 0], 16, t_s);
const block_of = (t_s: readonly number[]): ArrayBuffer => {
  const bytes = little_endian([1, 1, 0, 0, 1], 32, t_s);
  new DataView(bytes).setUint16(24 + 2, 1, true);
  new DataView(bytes).setUint32(24 + 4, t_s.length, true);
  return bytes;
};
const range = (from: number, to: number): number[] => Array.from({ length: to - from + 1 }, (_, i) => from + i);

describe('a page that comes in the middle of a flight', () => {
  it('has every row once: from the file, which is two seconds late, and from the stream before that', async () => {
    const asked: string[] = [];
    vi.stubGlobal('fetch', (path: string) => {
      asked.push(path);
      return Promise.resolve(new Response(series_of(range(0, 98))));
    });
    const about = description([table('v/baro', 'packet', [column('static_pressure', 'Pa')])]);
    const tape = new Tape(about, 'live', []);
    const loader = new Loader(tape, { on_busy: () => undefined, on_fault: (...fault) => expect(fault).toEqual([]) });
    const history = loader.backfill(true);
    for (const rows of [range(95, 96), range(97, 99), [100]]) {
      read_blocks(block_of(rows), (block) => tape.take_block(block));
    }
    await history;
    read_blocks(block_of([101]), (block) => tape.take_block(block));
    const columns = tape.tables[0]!.columns;
    expect(range(0, columns.count - 1).map((i) => columns.time(i))).toEqual(range(0, 101));
    expect(columns.covers(0)).toBe(true);
    expect(asked.length).toBe(1);
  });
});

it('loads for a small view only what that draws, and the rest once somebody asks for it', async () => {
  const asked: string[] = [];
  vi.stubGlobal('fetch', (path: string) => {
    asked.push(path);
    return Promise.resolve(new Response(series_of([1, 2])));
  });
  const about = description([
    table('v/baro', 'packet', [column('static_pressure', 'Pa', { role: 'static_pressure' })]),
    table('v/engine', 'packet', [column('oil', 'Pa')]),
    table('v/estimate/vertical', 'estimate', [column('altitude_m', 'm')]),
  ]);
  about.recording.t_end_s = 10;
  const loader = new Loader(new Tape(about, 'live', []), { on_busy: () => undefined, on_fault: () => undefined });
  await loader.backfill(false);
  const tables = (): (string | null)[] =>
    asked.map((path) => new URL(path, 'http://station').searchParams.get('table'));
  expect(tables()).toEqual(['2', '0']);
  expect(asked[0]).toContain('columns=altitude_m');
  await loader.backfill(true);
  await loader.backfill(true);
  expect(tables().slice(2).sort()).toEqual(['0', '1', '2']);
});
