/** Numbers as text, units as typeset, axes as divided, lines as rastered, strips as planned. */
import { describe, expect, it } from 'vitest';
import { Raster } from '../../src/draw/raster';
import { nice_step, step_decimals, time_step_s } from '../../src/draw/ticks';
import {
  format_clock,
  format_duration,
  format_fixed,
  format_sigma,
  format_size,
  format_value,
} from '../../src/text/format';
import type { Column, Description, Table } from '../../src/stream/messages';
import { backoff_ms } from '../../src/stream/connection';
import { plan_strips } from '../../src/tape/strips';
import { shown_decimals, shown_unit, shown_value } from '../../src/text/units';

const column = (name: string, unit: string, more: Partial<Column> = {}): Column => ({
  name,
  description: '',
  unit,
  group: 'G',
  decimals: 2,
  range: null,
  enumeration: new Map(),
  role: null,
  sigma_column: null,
  text: false,
  ...more,
});

describe('numbers', () => {
  it.each([
    [1.005, 1, '1.0'],
    [-0.04, 1, '0.0'],
    [-12.35, 1, '−12.3'],
    [NaN, 2, '–'],
    [Infinity, 2, '–'],
    [-5, 0, '−5'],
  ])('%d with %d decimals is %s', (value, decimals, text) => expect(format_fixed(value, decimals)).toBe(text));
  it.each([
    [0, '+0:00.0'],
    [12.345, '+0:12.3'],
    [-3.05, '−0:03.0'],
    [-0.04, '+0:00.0'],
    [3723.9, '+1:02:03.9'],
    [59.96, '+0:59.9'],
  ])('clock %d is %s', (t_s, text) => expect(format_clock(t_s)).toBe(text));
  it.each([
    [42, '42 s'],
    [125, '2 min 05 s'],
    [3700, '1 h 01 min'],
    [NaN, '–'],
  ])('duration %d is %s', (t_s, text) => expect(format_duration(t_s)).toBe(text));
  // IEC 80000-13: k is 1000, not 1024.
  it.each([
    [999, '999 B'],
    [1000, '1.0 kB'],
    [4_812_000, '4.8 MB'],
    [3.2e9, '3.2 GB'],
  ])('%d octets are %s', (n, text) => expect(format_size(n)).toBe(text));
  it('writes words for enumerations and marks unknown ones', () => {
    const fix = column('fix', '1', { enumeration: new Map([[3, '3D']]) });
    expect([format_value(fix, 3), format_value(fix, 7), format_value(fix, NaN)]).toEqual(['3D', '7?', '–']);
  });
  it('gives a 1-sigma two significant digits', () => {
    expect([0.34, 1.92, 24.6, 0.0312].map((sigma) => format_sigma('m', sigma))).toEqual(
      ['0.34', '1.9', '25', '0.03'].map((text) => `±\u202f${text}`),
    );
    expect([0.34, 0.0312, 0.0031].map((sigma) => format_sigma('s', sigma))).toEqual(
      ['0.34', '0.031', '0.003'].map((text) => `±\u202f${text}`),
    );
  });
});

describe('units', () => {
  // SI Brochure, 9th edition, 5.4.1 and table 8; UCUM 2.1 for the spelling on the left.
  it.each([
    ['m/s2', 'm/s²'],
    ['rad/s', 'rad/s'],
    ['K', '°C'],
    ['deg', '°'],
    ['1', ''],
    ['By', 'B'],
    ['kg.m2', 'kg·m²'],
    ['Pa', 'hPa'],
    ['m/s', 'm/s'],
  ])('%s is shown as %s', (unit, symbol) => expect(shown_unit(unit).symbol).toBe(symbol));
  it('shows kelvin as degrees Celsius and pascal as hectopascal, with their digits', () => {
    expect(shown_value('K', 273.15)).toBeCloseTo(0, 12);
    expect(shown_value('Pa', 101325)).toBeCloseTo(1013.25, 9);
    expect(shown_decimals('Pa', 0)).toBe(2);
    expect(shown_decimals('m', 1)).toBe(1);
  });
});

describe('axes', () => {
  it.each([
    [10, 4, 5],
    [1, 4, 0.5],
    [7, 4, 2],
    [0.03, 3, 0.01],
  ])('span %d in at most %d steps of %d', (span, count, step) => expect(nice_step(span, count)).toBeCloseTo(step, 12));
  it('divides time as clocks do', () =>
    expect([6, 60, 170, 4000].map((span) => time_step_s(span, 6))).toEqual([1, 10, 30, 900]));
  it('knows the decimals of a step', () => expect([0.05, 0.5, 1, 20].map(step_decimals)).toEqual([2, 1, 0, 0]));
});

describe('Raster', () => {
  const drawn = (points: [number, number][], gap_s = Infinity): (readonly [number, number] | undefined)[] => {
    const raster = new Raster();
    raster.begin(5, 0, 5);
    for (const [t, v] of points) raster.add(t, v, gap_s);
    return Array.from({ length: 5 }, (_, x) =>
      Number.isNaN(raster.low[x] ?? NaN) ? undefined : ([raster.low[x] ?? NaN, raster.high[x] ?? NaN] as const),
    );
  };
  it('keeps a spike that is narrower than a pixel', () =>
    expect(
      drawn([
        [0, 0],
        [2.1, 0],
        [2.2, 50],
        [2.3, 0],
        [4.9, 0],
      ])[2],
    ).toEqual([0, 50]));
  it('joins points across columns in a straight line', () =>
    expect(
      drawn([
        [0, 0],
        [4, 4],
      ]),
    ).toEqual([
      [0, 1],
      [1, 2],
      [2, 3],
      [3, 4],
      [4, 4],
    ]));
  it('leaves a gap where data are missing', () => {
    expect(
      drawn(
        [
          [0.5, 1],
          [4.5, 1],
        ],
        1,
      ),
    ).toEqual([[1, 1], undefined, undefined, undefined, [1, 1]]);
    expect(
      drawn([
        [0.5, 1],
        [1.5, NaN],
        [4.5, 1],
      ]),
    ).toEqual([[1, 1], undefined, undefined, undefined, [1, 1]]);
  });
  it('is the same after the same rows again', () => {
    const points: [number, number][] = [
      [0, 3],
      [1.2, -1],
      [2.7, 8],
      [4.4, 0],
    ];
    const raster = new Raster();
    raster.begin(5, 0, 5);
    for (let round = 0; round < 2; round++) {
      raster.break();
      for (const [t, v] of points) raster.add(t, v, Infinity);
    }
    expect(Array.from(raster.low)).toEqual(drawn(points).map((span) => span?.[0] ?? NaN));
  });
});

describe('strips', () => {
  const table = (id: number, name: string, kind: Table['kind'], columns: Column[]): Table => ({
    id,
    name,
    title: '',
    kind,
    vehicle: 0,
    period_s: 0.1,
    columns,
    number_count: columns.length,
  });
  const tables = [
    table(
      0,
      'v/imu',
      'batch',
      ['x', 'y', 'z'].map((a) => column(`accel_body_${a}`, 'm/s2', { group: 'Inertial' })),
    ),
    table(1, 'v/fix', 'packet', [
      column('latitude', 'deg', { group: 'Position' }),
      column('longitude', 'deg', { group: 'Position' }),
    ]),
    table(2, 'v/nav', 'packet', [column('onboard_altitude', 'm', { group: 'On-board', role: 'onboard_altitude' })]),
    table(3, 'v/estimate/vertical', 'estimate', [
      column('altitude_m', 'm', { group: 'Vertical', sigma_column: 'altitude_m_sigma' }),
      column('altitude_m_sigma', 'm', { group: 'Vertical' }),
      column('hidden', '1', { group: '' }),
    ]),
  ];
  const description: Description = {
    recording: {
      id: 'r',
      name: '',
      notes: '',
      utc_start_ms: 0,
      t_end_s: 0,
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
    vehicles: [],
    links: [],
    tables,
  };
  const groups = plan_strips(description, 0);
  it('puts the axes of a vector on one strip and other quantities on their own', () => {
    expect(groups.find((g) => g.id === 'Inertial')?.strips.map((s) => s.series.map((x) => x.label))).toEqual([
      ['x', 'y', 'z'],
    ]);
    expect(groups.find((g) => g.id === 'Position')?.strips.length).toBe(2);
  });
  it('lays the on-board value over the estimate and gives the estimate its band', () => {
    const strip = groups[0]?.strips[0];
    expect(strip?.title).toBe('Altitude');
    expect(strip?.series).toEqual([
      { table: 3, column: 0, sigma: 1, low: -1, high: -1, label: 'ground', broken: false },
      { table: 2, column: 0, sigma: -1, low: -1, high: -1, label: 'on board', broken: true },
    ]);
  });
  it('shows neither sigma columns nor columns without a group', () => expect(groups[0]?.strips.length).toBe(1));
});

it('waits longer each time, but never more than five seconds', () => {
  expect([0, 1, 2, 3, 4, 5, 50].map(backoff_ms)).toEqual([250, 500, 1000, 2000, 4000, 5000, 5000]);
});
