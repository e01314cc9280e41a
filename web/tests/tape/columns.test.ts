/** Rings of rows and bins of the overview: what is kept, in what order, and what is never lost. */
import { describe, expect, it } from 'vitest';
import { Columns } from '../../src/tape/columns';
import { Overview } from '../../src/tape/overview';

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
  it('has no value and no time before its first row or behind its last', () => {
    const columns = new Columns(1, 4);
    expect([columns.value(0, columns.find(5)), columns.time(-1)]).toEqual([NaN, NaN]);
    push(columns, 1, 7);
    expect([columns.value(0, -1), columns.time(-1), columns.value(0, 1), columns.time(1)]).toEqual([
      NaN,
      NaN,
      NaN,
      NaN,
    ]);
  });
  it('ignores times that are not numbers and keeps values that are none', () => {
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
