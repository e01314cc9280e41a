/** Rings, overview bins, events and the tape's cursor: what is kept, in what order, and what is never lost. */
import { describe, expect, it } from 'vitest';
import type { Description, FlightEvent, Table } from '../../src/stream/messages';
import { Columns } from '../../src/tape/columns';
import { EventLog } from '../../src/tape/events';
import { Overview } from '../../src/tape/overview';
import { Tape } from '../../src/tape/tape';

const push = (columns: Columns, t_s: number, ...values: number[]): void =>
  columns.push_row(t_s, Float64Array.from(values), 1, 0);
const times = (columns: Columns): number[] => Array.from({ length: columns.count }, (_, i) => columns.time(i));

describe('Columns', () => {
  it('keeps rows in order of time, late ones in their place, repeated ones once', () => {
    const columns = new Columns(2, 8);
    for (const t of [1, 2, 4, 3, 2]) push(columns, t, t * 10, -t);
    expect(times(columns)).toEqual([1, 2, 3, 4]);
    expect(columns.value(0, 2)).toBe(30);
    push(columns, 2, 99, 0);
    expect(times(columns)).toEqual([1, 2, 2, 3, 4]);
  });
  it('drops the oldest when full and says from when it is complete', () => {
    const columns = new Columns(1, 4);
    for (let t = 0; t < 10; t++) push(columns, t, t);
    expect(times(columns)).toEqual([6, 7, 8, 9]);
    expect([columns.covers(5), columns.covers(6), columns.covers(20)]).toEqual([false, true, true]);
    push(columns, 1, 1);
    expect(times(columns)).toEqual([6, 7, 8, 9]);
    push(columns, 7.5, 75);
    expect(times(columns)).toEqual([7, 7.5, 8, 9]);
  });
  it('finds the newest row at or before a time', () => {
    const columns = new Columns(1, 4);
    for (const t of [1, 2, 3, 4, 5]) push(columns, t, t);
    expect([0, 2, 2.9, 3, 99].map((t) => columns.find(t))).toEqual([-1, 0, 0, 1, 3]);
  });
  it('ignores times that are no numbers and keeps values that are none', () => {
    const columns = new Columns(1, 4);
    push(columns, NaN, 1);
    push(columns, Infinity, 1);
    push(columns, 1, NaN);
    push(columns, 1, NaN);
    expect(columns.count).toBe(1);
    expect(columns.value(0, 0)).toBeNaN();
  });
});

describe('Overview', () => {
  it('never loses an extreme, however long the tape grows', () => {
    const overview = new Overview(1, 16);
    let random = 12345;
    const bins: { low: number; high: number }[] = [];
    for (let i = 0; i < 5000; i++) {
      random = (Math.imul(random, 1103515245) + 12345) >>> 0;
      const value = (random / 2 ** 32) * 20 - 10;
      const t_s = i * 0.02;
      overview.take(overview.touch(t_s), 0, value);
      bins.push({ low: value, high: t_s });
    }
    let low = Infinity;
    let high = -Infinity;
    let rows = 0;
    for (let b = 0; b < overview.used; b++) {
      low = Math.min(low, overview.min(0, b));
      high = Math.max(high, overview.max(0, b));
      rows += overview.rows[b] ?? 0;
    }
    expect(rows).toBe(5000);
    expect(low).toBe(Math.min(...bins.map((bin) => bin.low)));
    expect(high).toBe(Math.max(...bins.map((bin) => bin.low)));
    expect(overview.used).toBeLessThanOrEqual(16);
    expect(overview.bin_s * 16).toBeGreaterThanOrEqual(99.98);
  });
  it('keeps every value inside the bin of its time', () => {
    const overview = new Overview(1, 8);
    for (let t = 0; t < 60; t++) overview.take(overview.touch(t), 0, t);
    for (let b = 0; b < overview.used; b++) {
      expect(overview.min(0, b)).toBeGreaterThanOrEqual(b * overview.bin_s);
      expect(overview.max(0, b)).toBeLessThan((b + 1) * overview.bin_s);
    }
  });
  it('takes neither NaN nor times outside the tape', () => {
    const overview = new Overview(1, 8);
    for (const t of [-1, NaN, Infinity]) expect(overview.touch(t)).toBe(-1);
    overview.take(overview.touch(0), 0, NaN);
    expect(overview.min(0, 0)).toBeNaN();
    overview.take(0, 0, -3);
    expect([overview.min(0, 0), overview.max(0, 0)]).toEqual([-3, -3]);
  });
});

const event = (
  id: number,
  t_s: number,
  kind: string,
  key: string,
  level: FlightEvent['level'] = 'note',
): FlightEvent => ({
  id,
  t_s,
  t_found_s: t_s,
  t_sigma_s: 0,
  kind,
  level,
  vehicle: 0,
  key,
  text: key,
});

describe('EventLog', () => {
  it('orders by time of happening, not of arrival, and takes each once', () => {
    const log = new EventLog();
    for (const [id, t] of [
      [1, 5],
      [2, 3],
      [1, 5],
      [3, 4],
    ] as const)
      log.add(event(id, t, 'note', `n${id}`));
    expect(log.events.map((e) => e.id)).toEqual([2, 3, 1]);
  });
  it('makes spans of phases and T-zero of lift-off', () => {
    const log = new EventLog();
    log.add(event(1, 0, 'phase', 'v/phase/on_the_pad'));
    log.add(event(2, 12.5, 'phase', 'v/phase/powered_ascent'));
    log.add(event(3, 14.6, 'phase', 'v/phase/coast'));
    expect(log.phases(0).map((p) => [p.from_s, p.to_s])).toEqual([
      [0, 12.5],
      [12.5, 14.6],
      [14.6, Infinity],
    ]);
    expect(log.lift_off_s(0)).toBe(12.5);
    expect(log.lift_off_s(1)).toBeUndefined();
    log.add(event(4, 15, 'phase', 'v/phase/on_the_pad'));
    expect(log.lift_off_s(0), 'taken back').toBeUndefined();
    expect(log.phase_at(0, 13)?.key).toBe('v/phase/powered_ascent');
  });
  it('shows at a moment the alerts of that moment, most urgent first', () => {
    const log = new EventLog();
    log.add(event(1, 1, 'alert_raised', 'a', 'caution'));
    log.add(event(2, 2, 'alert_raised', 'b', 'warning'));
    log.add(event(3, 3, 'alert_cleared', 'a', 'caution'));
    expect(log.active_alerts(0.5)).toEqual([]);
    expect(log.active_alerts(2.5).map((a) => a.key)).toEqual(['b', 'a']);
    expect(log.active_alerts(9).map((a) => a.key)).toEqual(['b']);
  });
});

const table: Table = {
  id: 0,
  name: 'v/baro',
  title: '',
  kind: 'packet',
  vehicle: 0,
  period_s: 0.1,
  columns: [],
  number_count: 1,
};
const description: Description = {
  recording: {
    id: 'r',
    name: '',
    notes: '',
    utc_start_ms: 0,
    t_end_s: 10,
    live: true,
    closed: false,
    file_bytes: 0,
    damage: '',
    vehicles: '',
  },
  software: '',
  site: {
    name: '',
    pad: { latitude_deg: NaN, longitude_deg: NaN },
    station: { latitude_deg: NaN, longitude_deg: NaN },
    boundary: [],
  },
  vehicles: [{ name: 'v', title: 'V', rocket: true }],
  links: [],
  tables: [table],
};
function block(t_s: number[], values: number[]): Parameters<Tape['take_block']>[0] {
  const view = new DataView(new ArrayBuffer(16 * t_s.length));
  t_s.forEach((t, i) => view.setFloat64(8 * i, t, true));
  values.forEach((v, i) => view.setFloat64(8 * (t_s.length + i), v, true));
  return { table: 0, columns: 1, rows: t_s.length, t_offset: 0, values_offset: 8 * t_s.length, view };
}

describe('Tape', () => {
  it('follows the head, lets go when the cursor is moved, and goes on taking rows meanwhile', () => {
    const tape = new Tape(description, 'live', []);
    tape.take_block(block([11, 12], [1, 2]));
    expect([tape.following, tape.cursor_s, tape.value_at_cursor(0, 0).value]).toEqual([true, 12, 2]);
    tape.set_cursor(11.5);
    tape.take_block(block([13], [3]));
    expect([tape.following, tape.cursor_s, tape.head_s, tape.value_at_cursor(0, 0).value]).toEqual([
      false,
      11.5,
      13,
      1,
    ]);
    tape.to_head();
    expect([tape.cursor_s, tape.value_at_cursor(0, 0).value]).toEqual([13, 3]);
  });
  it('asks the server for what it does not hold, and takes its answer', () => {
    const tape = new Tape(description, 'live', []);
    tape.take_block(block([11], [1]));
    tape.set_cursor(4);
    expect(tape.cursor_is_local).toBe(false);
    expect(tape.value_at_cursor(0, 0).value).toBeNaN();
    tape.take_at_cursor([{ table: 0, t_s: 3.9, values: Float64Array.of(39) }]);
    expect(tape.value_at_cursor(0, 0)).toEqual({ value: 39, t_s: 3.9 });
  });
  it('does not let a late row replace the newest value', () => {
    const tape = new Tape(description, 'live', []);
    tape.take_block(block([12, 11.9], [2, 1]));
    expect(tape.value_at_cursor(0, 0)).toEqual({ value: 2, t_s: 12 });
  });
  it('zooms about a point that stays where it is', () => {
    const tape = new Tape(description, 'replay', []);
    tape.zoom_out();
    tape.set_cursor(6);
    const before = (6 - tape.from_s) / tape.span_s;
    tape.zoom(0.25, 6);
    expect((6 - tape.from_s) / tape.span_s).toBeCloseTo(before, 9);
    expect(tape.span_s).toBeCloseTo(10.3 / 4, 9);
  });
  it('leaves out blocks that do not fit the description', () => {
    const tape = new Tape(description, 'live', []);
    tape.take_block({ ...block([11], [1]), table: 7 });
    tape.take_block({ ...block([11], [1]), columns: 2 });
    expect(tape.tables[0]?.columns.count).toBe(0);
  });
});
