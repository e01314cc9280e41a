/** Bytes and texts that lie: refused with a reason, never read past the end, nothing half taken. */
import { describe, expect, it } from 'vitest';
import { BlockError, read_blocks, read_series } from '../../src/stream/blocks';
import { MessageError } from '../../src/stream/json';
import { read_message } from '../../src/stream/messages';

function message(blocks: { table: number; columns: number; rows: number }[], spare = 0): DataView {
  const size = blocks.reduce((sum, b) => sum + 8 + 8 * b.rows * (1 + b.columns), 24) + spare;
  const view = new DataView(new ArrayBuffer(size));
  view.setUint8(0, 1);
  view.setUint8(1, 1);
  view.setUint32(4, blocks.length, true);
  let at = 24;
  for (const b of blocks) {
    view.setUint16(at, b.table, true);
    view.setUint16(at + 2, b.columns, true);
    view.setUint32(at + 4, b.rows, true);
    at += 8 + 8 * b.rows * (1 + b.columns);
  }
  return view;
}
const count_blocks = (bytes: ArrayBuffer): number => {
  let calls = 0;
  read_blocks(bytes, () => calls++);
  return calls;
};

describe('block messages', () => {
  it('reads what is well formed', () => {
    expect(
      count_blocks(
        message([
          { table: 1, columns: 2, rows: 3 },
          { table: 2, columns: 0, rows: 1 },
        ]).buffer as ArrayBuffer,
      ),
    ).toBe(2);
  });
  it.each([
    ['no bytes', () => new DataView(new ArrayBuffer(0))],
    ['a short header', () => new DataView(new ArrayBuffer(23))],
    [
      'another version',
      () => {
        const v = message([]);
        v.setUint8(0, 2);
        return v;
      },
    ],
    [
      'another kind',
      () => {
        const v = message([]);
        v.setUint8(1, 9);
        return v;
      },
    ],
    [
      'more blocks than there are',
      () => {
        const v = message([{ table: 0, columns: 1, rows: 1 }]);
        v.setUint32(4, 2, true);
        return v;
      },
    ],
    [
      'a boundless number of blocks',
      () => {
        const v = message([]);
        v.setUint32(4, 0xffffffff, true);
        return v;
      },
    ],
    [
      'more rows than there are',
      () => {
        const v = message([{ table: 0, columns: 1, rows: 1 }]);
        v.setUint32(28, 0xffffffff, true);
        return v;
      },
    ],
    [
      'more columns than there are',
      () => {
        const v = message([{ table: 0, columns: 1, rows: 1 }]);
        v.setUint16(26, 0xffff, true);
        return v;
      },
    ],
    ['bytes left over', () => message([{ table: 0, columns: 1, rows: 1 }], 8)],
  ])('refuses %s before handing out anything', (_, make) => {
    let calls = 0;
    expect(() => read_blocks(make().buffer as ArrayBuffer, () => calls++)).toThrow(BlockError);
    expect(calls).toBe(0);
  });
  it('only ever throws its own error on seeded garbage', () => {
    let seed = 20260517;
    const random = (): number => (seed = (Math.imul(seed, 1664525) + 1013904223) >>> 0);
    let refused = 0;
    const foreign: unknown[] = [];
    for (let round = 0; round < 5000; round++) {
      const view = message([
        { table: 0, columns: 2, rows: 2 },
        { table: 1, columns: 1, rows: 1 },
      ]);
      for (let k = 0; k < 1 + (random() % 4); k++) view.setUint8(random() % view.byteLength, random() & 255);
      const bytes = view.buffer.slice(
        0,
        random() % 3 === 0 ? random() % view.byteLength : view.byteLength,
      ) as ArrayBuffer;
      for (const read of [(): unknown => count_blocks(bytes), (): unknown => read_series(bytes)]) {
        try {
          read();
        } catch (error) {
          if (error instanceof BlockError) refused++;
          else foreign.push(error);
        }
      }
    }
    expect(foreign).toEqual([]);
    expect(refused).toBeGreaterThan(5000);
  });
});

describe('texts', () => {
  const titled = (title: unknown): object => ({
    version: 1,
    recording: { id: 'r', utc_start_ns: '1', t_end_s: 0 },
    vehicles: [],
    tables: [{ id: 0, name: 't', kind: 'packet', columns: [{ name: 'c', title }] }],
  });
  const hello = { type: 'hello', version: 1, role: 'viewer', mode: 'live', description: titled('C') };
  const status = { type: 'status', t_s: 1, links: [], recorder: { recording: true }, viewers: 1, utc_ns: '1' };
  it.each<[string, unknown, string]>([
    ['no JSON', undefined, 'not JSON'],
    ['an array', [], 'message: expected an object'],
    ['an unknown type', { type: 'hallo' }, 'message/type'],
    ['a hello of another version', { type: 'hello', version: 2 }, 'hello/version'],
    ['an event without a level', { type: 'event', id: 1, t_s: 1, kind: 'note' }, 'event/level'],
    [
      'an event whose data are a list',
      { type: 'event', id: 1, t_s: 1, kind: 'note', level: 'note', data: [] },
      'event/data',
    ],
    ['a role whose title is a number', { ...hello, roles: { latitude: 1 } }, 'hello/roles/latitude'],
    ['a column whose title is a number', { ...hello, description: titled(1) }, 'columns/0/title'],
    ['a status whose clock is a number', { ...status, utc_ns: 5 }, 'status/utc_ns'],
    ['a status whose links are not a list', { ...status, links: {} }, 'status/links'],
    ['a gap without an end', { type: 'gap', from_t_s: 1 }, 'gap/to_t_s'],
  ])('refuses %s and names the member', (_, value, wanted) => {
    const json = value === undefined ? '{' : JSON.stringify(value);
    expect(() => read_message(json)).toThrow(MessageError);
    expect(() => read_message(json)).toThrow(wanted);
  });
});
