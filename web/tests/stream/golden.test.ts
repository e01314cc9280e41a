/** The golden messages of tests/golden/stream, which the server's own tests read as well: both ends agree byte for byte. */
import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { read_blocks, read_series, type BlockMessage } from '../../src/stream/blocks';
import { read_message } from '../../src/stream/messages';
import { why_missing } from '../../src/tape/missing';
import { EventLog } from '../../src/tape/events';

const folder = new URL('../../../tests/golden/stream/', import.meta.url);
const text = (name: string): string => readFileSync(new URL(name, folder), 'utf8');
const hex = (name: string): ArrayBuffer => {
  const bytes = Uint8Array.from(text(name).replace(/\s+/g, '').match(/../g) ?? [], (pair) => parseInt(pair, 16));
  return bytes.buffer;
};
const or_null = (values: Iterable<number>): (number | null)[] => [...values].map((v) => (Number.isNaN(v) ? null : v));
type Json = Record<string, never>;

describe('golden texts', () => {
  it('reads hello with its description', () => {
    const message = read_message(text('hello.json'));
    const raw = JSON.parse(text('hello.json')) as { description: { tables: { name: string; columns: Json[] }[] } };
    if (message.type !== 'hello') throw new Error('not a hello');
    expect(message.mode).toBe('live');
    expect(message.description.recording.id).toBe('2026-05-17T143205Z-sanderling');
    expect(new Date(message.description.recording.utc_start_ms).toISOString()).toBe('2026-05-17T14:32:05.000Z');
    expect(message.description.tables.map((t) => t.name)).toEqual(raw.description.tables.map((t) => t.name));
    expect(message.description.tables.map((t) => t.columns.map((c) => c.title))).toEqual(
      raw.description.tables.map((t) => t.columns.map((c) => c['title'])),
    );
    expect(message.description.links).toMatchObject([{ place: { latitude_deg: -47.2525, longitude_deg: 68.4975 } }]);
    expect(message.roles.get('static_pressure')).toBe('static pressure');
    const column = (name: string) => message.description.tables.flatMap((t) => t.columns).find((c) => c.name === name);
    expect(column('accel_body_x')?.strip).toEqual({ title: 'Accel body', line: 'x' });
    expect(column('rate_body_x')?.limits).toEqual([]);
    expect(column('static_pressure')?.limits).toEqual([
      { side: 'low', level: 'advisory', value: 50000 },
      { side: 'low', level: 'caution', value: 40000 },
      { side: 'high', level: 'warning', value: 108000.5 },
    ]);
    expect(column('apogee_m')?.interval).toEqual(['apogee_low_m', 'apogee_high_m']);
    expect([column('apogee_low_m')?.strip, column('apogee_low_m')?.interval]).toEqual([null, null]);
  });
  it('reads event, status, gap, replay and error', () => {
    const event = read_message(text('event.json'));
    expect(event).toMatchObject({
      type: 'event',
      event: {
        t_s: 3.25,
        t_found_s: 3.5,
        kind: 'phase',
        event: 'phase_began',
        text: 'under thrust',
        data: { phase: 'under thrust' },
      },
    });
    const missing = read_message(text('event_missing.json'));
    const log = new EventLog();
    if (missing.type === 'event') log.add(missing.event);
    expect(why_missing(log, 0, 'air')).toBe((JSON.parse(text('event_missing.json')) as { text: string }).text);
    const status = read_message(text('status.json'));
    expect(status).toMatchObject({ type: 'status', t_s: 12.75, viewers: 3, utc_ms: 1779028337750 });
    if (status.type === 'status')
      expect(status.audience).toEqual({ operators: 1, replays: 1, answer_s: 0.31, left_out: 14, behind: 1 });
    if (status.type === 'status') expect(status.links[1]?.t_last_s).toBeNaN();
    const gap = JSON.parse(text('gap.json')) as { from_t_s: number; to_t_s: number };
    expect(read_message(text('gap.json'))).toEqual({ type: 'gap', from_t_s: gap.from_t_s, to_t_s: gap.to_t_s });
    expect(read_message(text('replay_seek.json'))).toMatchObject({
      type: 'replay',
      cursor_s: 4.5,
      playing: false,
      t_end_s: 12.5,
    });
    expect(read_message(text('replay.json')).type).toBe('replay');
    expect(read_message(text('session.json'))).toEqual({ type: 'session', role: 'operator' });
    expect(read_message(text('error.json')).type).toBe('error');
  });
});

describe('golden blocks', () => {
  it.each(['block_live', 'block_coalesced', 'block_empty'])('%s', (name) => {
    const want = JSON.parse(text(`${name}.json`)) as BlockMessage & {
      blocks: { table: number; t_s: number[]; columns: (number | null)[][] }[];
    };
    const got: { table: number; t_s: number[]; columns: (number | null)[][] }[] = [];
    const message = read_blocks(hex(`${name}.hex`), (block) => {
      const row = (offset: number): number[] =>
        Array.from({ length: block.rows }, (_, i) => block.view.getFloat64(offset + 8 * i, true));
      got.push({
        table: block.table,
        t_s: row(block.t_offset),
        columns: Array.from({ length: block.columns }, (_, c) =>
          or_null(row(block.values_offset + 8 * c * block.rows)),
        ),
      });
    });
    expect(message).toMatchObject({
      seq: want.seq,
      replay: want.replay,
      coalesced: want.coalesced,
      newest_t_s: want.newest_t_s,
    });
    expect(got).toEqual(want.blocks);
  });
});

describe('golden series', () => {
  it.each(['series_plain', 'series_decimated'])('%s', (name) => {
    const want = JSON.parse(text(`${name}.json`)) as Record<string, (number | null)[][]> & {
      table: number;
      decimated: boolean;
      t_s: number[];
    };
    const got = read_series(hex(`${name}.hex`));
    expect(got.table).toBe(want.table);
    expect(got.decimated).toBe(want.decimated);
    expect([...got.t_s]).toEqual(want.t_s);
    const parts = want.decimated ? (['min', 'max', 'mean'] as const) : (['min'] as const);
    for (const part of parts) {
      expect(or_null(got[part])).toEqual((want[part] ?? want['values'] ?? []).flat());
    }
  });
});
