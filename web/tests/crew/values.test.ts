/** The value table, and what is taken along as CSV. */
import { describe, expect, it } from 'vitest';
import { csv_fields, csv_of } from '../../src/crew/values/csv';
import { select_values, spread_of } from '../../src/crew/values/values';
import { strips_of } from '../../src/tape/strips';
import { take_series } from '../../src/tape/take';
import { Tape } from '../../src/tape/tape';
import { column, description, pair, table, words } from '../support/builders';

const about = description([
  table('v/tank', 'packet', [column('t', 'K', { decimals: 1, title: 'Tank' })]),
  table('v/estimate/vertical', 'estimate', [...pair('altitude_m', 'm', { title: 'Altitude' })]),
  table('v/state', 'packet', [words('state', 'State', 'shut', 'open')]),
]);
const strips = strips_of(about, 0).flatMap((group) => group.strips);

function tape_of(rows: Record<number, [number, number[]][]>): Tape {
  const tape = new Tape(about, 'live', []);
  for (const [id, list] of Object.entries(rows)) {
    const columns = about.tables[Number(id)]?.columns.length ?? 0;
    const values = Float64Array.from(
      { length: columns * list.length },
      (_, i) => list[i % list.length]?.[1][Math.floor(i / list.length)] ?? NaN,
    );
    const t_s = Float64Array.from(list.map(([t]) => t));
    const series = {
      table: Number(id),
      columns,
      rows: list.length,
      decimated: false,
      t_s,
      min: values,
      max: values,
      mean: values,
    };
    take_series(tape, series, 0, true);
  }
  return tape;
}
const tape = tape_of({
  0: [
    [10, [293.15]],
    [20, [303.15]],
    [30, [283.15]],
  ],
  1: [
    [10, [100, 2]],
    [20, [160, 2]],
    [30, [130, 2]],
  ],
  2: [
    [10, [0]],
    [30, [1]],
  ],
});
tape.set_cursor(30);

describe('the value table', () => {
  it('has the values at the cursor alone while nothing is measured', () => {
    const rows = select_values(tape, undefined, strips, NaN);
    expect(rows.map((row) => [row.title, row.at_cursor, row.unit, row.difference])).toEqual([
      ['Tank', '10.0', '°C', ''],
      ['Altitude', '130.0', 'm', ''],
      ['State', 'open', '', ''],
    ]);
  });
  it('has differences, rates and extremes between two cursors, without the offset of a scale', () => {
    const [tank, altitude, state] = select_values(tape, undefined, strips, 10);
    expect(tank).toMatchObject({
      at_second: '20.0',
      difference: '\u221210.0',
      per_s: '\u22120.5',
      least: '10.0',
      greatest: '30.0',
      mean: '20.0',
    });
    expect(altitude).toMatchObject({
      difference: '30.0',
      per_s: '1.5',
      least: '100.0',
      greatest: '160.0',
      mean: '130.0',
    });
    expect(state).toMatchObject({ at_second: 'shut', difference: '', mean: '' });
  });
  it('has no extremes where there is no row', () =>
    expect(spread_of(tape, { table: 0, column: 0 }, 1, 5)).toEqual({ least: NaN, greatest: NaN, mean: NaN }));
});

describe('CSV', () => {
  const fields = csv_fields(about, strips);
  const rows = (t: number[], ...columns: number[][]) => {
    const values = Float64Array.from(columns.flat());
    return {
      table: 0,
      columns: columns.length,
      rows: t.length,
      decimated: false,
      t_s: Float64Array.from(t),
      min: values,
      max: values,
      mean: values,
    };
  };
  it('names each column once with its unit, its 1-sigma beside it', () =>
    expect(fields.map((field) => field.name)).toEqual([
      'v/tank/t [K]',
      'v/estimate/vertical/altitude_m [m]',
      'v/estimate/vertical/altitude_m_sigma [m]',
      'v/state/state [1]',
    ]));
  it('has a line for each time, in order, and nothing where a table has no row', () => {
    const found = new Map([
      [0, rows([2, 1], [20, 10])],
      [1, rows([1], [100], [NaN])],
    ]);
    expect(csv_of(fields, found, 0, 1).split('\r\n')).toEqual([
      't_s,utc,since_liftoff_s,v/tank/t [K],v/estimate/vertical/altitude_m [m],v/estimate/vertical/altitude_m_sigma [m],v/state/state [1]',
      '1.000000,1970-01-01T00:00:01.000Z,0.000000,10,100,,',
      '2.000000,1970-01-01T00:00:02.000Z,1.000000,20,,,',
      '',
    ]);
  });
  it('says where values are means of several rows', () => {
    const mean = new Map([[0, { ...rows([1], [10]), decimated: true }]]);
    expect(csv_of(fields.slice(0, 1), mean, 0, undefined).split('\r\n')[0]).toBe('t_s,utc,v/tank/t [K] mean');
  });
  it('quotes as RFC 4180 does', () => {
    const odd = [{ table: 0, column: 0, name: 'a "b", c' }];
    expect(csv_of(odd, new Map(), 0, undefined)).toBe('t_s,utc,"a ""b"", c"\r\n');
  });
});
