/** The tape's cursor and window: it follows live, lets go, and asks for what it does not hold. */
import { afterEach, describe, expect, it, vi } from 'vitest';
import { page_now } from '../../src/stream/clocks';
import { take_columns, take_series } from '../../src/tape/take';
import { Tape } from '../../src/tape/tape';
import { column, description, table } from '../support/builders';

const about = description([table('v/baro', 'packet', [column('static_pressure', 'Pa')], { period_s: 0.1 })]);
about.recording.t_end_s = 10;

function block(t_s: number[], values: number[]): Parameters<Tape['take_block']>[0] {
  const view = new DataView(new ArrayBuffer(16 * t_s.length));
  t_s.forEach((t, i) => view.setFloat64(8 * i, t, true));
  values.forEach((v, i) => view.setFloat64(8 * (t_s.length + i), v, true));
  return { table: 0, columns: 1, rows: t_s.length, t_offset: 0, values_offset: 8 * t_s.length, view };
}

const series = (t_s: number[], values: number[]): Parameters<typeof take_series>[1] => {
  const column = Float64Array.from(values);
  return {
    table: 0,
    columns: 1,
    rows: t_s.length,
    decimated: false,
    t_s: Float64Array.from(t_s),
    min: column,
    max: column,
    mean: column,
  };
};

afterEach(() => void vi.useRealTimers());

describe('a tape', () => {
  it('lets values age when the connection is lost before the station has said its time', () => {
    vi.useFakeTimers({ toFake: ['performance'] });
    const tape = new Tape(about, 'live', []);
    tape.take_block(block([12], [1]));
    vi.advanceTimersByTime(7000);
    expect(tape.cursor_s - tape.value_at_cursor(0, 0).t_s).toBeCloseTo(5);
  });
  it('follows the head, lets go when the cursor is moved, and goes on taking rows meanwhile', () => {
    const tape = new Tape(about, 'live', []);
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
    const tape = new Tape(about, 'live', []);
    tape.take_block(block([11], [1]));
    tape.set_cursor(4);
    expect(tape.cursor_is_local).toBe(false);
    expect(tape.value_at_cursor(0, 0).value).toBeNaN();
    tape.take_at_cursor([{ table: 0, t_s: 3.9, values: Float64Array.of(39) }]);
    expect(tape.value_at_cursor(0, 0)).toEqual({ value: 39, t_s: 3.9 });
  });
  it('reads a row of before as far back as it holds rows', () => {
    const tape = new Tape(about, 'live', []);
    tape.take_block(block([10, 11, 12], [1, 2, 3]));
    expect([12.5, 11.5, 3].map((at_s) => tape.value_before(0, 0, at_s))).toEqual([
      { value: 3, t_s: 12 },
      { value: 2, t_s: 11 },
      { value: 3, t_s: 12 },
    ]);
  });
  it('knows until when the station has spoken, rows or not', () => {
    vi.useFakeTimers({ toFake: ['performance', 'Date'] });
    const tape = new Tape(about, 'live', []);
    tape.take_block(block([12], [1]));
    tape.set_station_now(15);
    vi.advanceTimersByTime(5000);
    expect([tape.heard_s, tape.head_s]).toEqual([15, 20]);
  });
  it('keeps its time while a station that has just started says none', () => {
    vi.useFakeTimers({ toFake: ['performance', 'Date'] });
    const tape = new Tape(about, 'live', []);
    tape.set_station_now(15);
    expect(tape.set_station_now(NaN)).toBe(false);
    expect([tape.heard_s, tape.head_s, tape.from_s]).toEqual([15, 15, 0]);
  });
  it('goes by a measured offset, and by messages again once a clock has jumped', () => {
    vi.useFakeTimers({ toFake: ['performance', 'Date'] });
    const tape = new Tape(about, 'live', []);
    tape.set_station_now(15);
    tape.set_offset(15.3 - page_now() / 1000);
    expect(tape.head_s).toBeCloseTo(15.3, 6);
    vi.advanceTimersByTime(1000);
    expect(tape.set_station_now(15.1)).toBe(false); // a message that was 1.2 s on its way
    expect(tape.head_s).toBeCloseTo(16.3, 6);
    vi.setSystemTime(Date.now() + 3 * 3600_000); // somebody sets the device's clock
    expect(tape.head_s).toBeGreaterThan(10_000);
    expect(tape.set_station_now(16.4)).toBe(true);
    expect(tape.head_s).toBeCloseTo(16.4, 6);
  });
  it('takes some columns of the past for what is drawn of the whole tape, and claims no rows by that', () => {
    const two = description([table('v/a', 'packet', [column('p'), column('q')])]);
    const tape = new Tape(two, 'live', []);
    const series = { table: 0, columns: 1, rows: 2, decimated: false, t_s: Float64Array.of(1, 2) };
    const values = Float64Array.of(5, 7);
    take_columns(tape, { ...series, min: values, max: values, mean: values }, [1]);
    const [data] = tape.tables;
    const bin = Math.floor(1 / data!.overview.bin_s);
    expect([data!.overview.max(1, bin), data!.overview.max(0, bin), data!.columns.count]).toEqual([5, NaN, 0]);
  });
  it('does not let a late row replace the newest value', () => {
    const tape = new Tape(about, 'live', []);
    tape.take_block(block([12, 11.9], [2, 1]));
    expect(tape.value_at_cursor(0, 0)).toEqual({ value: 2, t_s: 12 });
  });
  it('zooms about a point that stays where it is', () => {
    const tape = new Tape(about, 'replay', []);
    tape.zoom_out();
    tape.set_cursor(6);
    const before = (6 - tape.from_s) / tape.span_s;
    tape.zoom(0.25, 6);
    expect((6 - tape.from_s) / tape.span_s).toBeCloseTo(before, 9);
    expect(tape.span_s).toBeCloseTo(10.3 / 4, 9);
  });
  it('leaves out blocks that do not fit the description', () => {
    const tape = new Tape(about, 'live', []);
    tape.take_block({ ...block([11], [1]), table: 7 });
    tape.take_block({ ...block([11], [1]), columns: 2 });
    expect(tape.tables[0]?.columns.count).toBe(0);
  });
  it('has no value, and no zero, at a cursor before the first row', () => {
    const tape = new Tape(about, 'live', []);
    take_series(tape, series([8, 9], [1, 2]), 0, true);
    tape.set_cursor(5);
    expect(tape.cursor_is_local).toBe(true);
    expect(tape.value_at_cursor(0, 0)).toEqual({ value: NaN, t_s: NaN });
  });
});

describe('a replay', () => {
  const row = (t_s: number, value: number) => ({ table: 0, t_s, values: Float64Array.of(value) });

  it('shows no value of its end after it was taken back to its start', () => {
    const tape = new Tape(about, 'replay', []);
    tape.set_cursor(10);
    tape.set_replay(10, false, 1, 10, [row(9.9, 99)]);
    tape.set_cursor(0);
    tape.set_replay(0, false, 1, 10, []);
    tape.set_replay(0.1, true, 1, 10);
    expect(tape.value_at_cursor(0, 0)).toEqual({ value: NaN, t_s: NaN });
  });
  it('shows no row from after the cursor while the answer to a seek is on its way', () => {
    const tape = new Tape(about, 'replay', []);
    tape.set_replay(8, false, 1, 10, [row(7.9, 79)]);
    tape.set_cursor(3);
    expect(tape.value_at_cursor(0, 0).value).toBeNaN();
    tape.set_replay(3, false, 1, 10, [row(2.9, 29)]);
    expect(tape.value_at_cursor(0, 0)).toEqual({ value: 29, t_s: 2.9 });
  });
  it('has moved with a jump and not again with the answer to it, but where that moves the window', () => {
    const tape = new Tape(about, 'replay', []);
    tape.set_cursor(3);
    const { view_version } = tape;
    tape.set_replay(3, false, 1, 10, [row(2.9, 29)]);
    expect([tape.view_version, tape.value_at_cursor(0, 0).value]).toEqual([view_version, 29]);
    tape.set_cursor(9.5);
    tape.set_replay(9.5, false, 1, 10, [row(9.4, 94)]);
    expect(tape.view_version).toBe(view_version + 2);
  });
  it('moves with its rows while it plays, and keeps the row it was paused at', () => {
    const tape = new Tape(about, 'replay', []);
    tape.set_replay(2, true, 1, 10, [row(1.9, 19)]);
    tape.take_block(block([2.05], [20]));
    expect([tape.cursor_s, tape.value_at_cursor(0, 0).value]).toEqual([2.05, 20]);
    tape.set_replay(2.06, false, 1, 10, [row(2.05, 20)]);
    tape.take_block(block([2.5], [25]));
    expect([tape.cursor_s, tape.value_at_cursor(0, 0).value]).toEqual([2.06, 20]);
  });
});
