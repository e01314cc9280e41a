/** Which strips a recording has, and what they are called. */
import { describe, expect, it } from 'vitest';
import { band_words, strips_of } from '../../src/tape/strips';
import { column, description, pair, table, words } from '../support/builders';

describe('strips', () => {
  const about = description([
    table('v/imu', 'batch', [
      ...['x', 'y', 'z'].map((axis) =>
        column(`accel_body_${axis}`, 'm/s2', {
          title: `Acceleration, body ${axis}`,
          group: 'Inertial',
          strip: { title: 'Acceleration, body', line: axis },
        }),
      ),
    ]),
    table('v/fix', 'packet', [
      column('latitude', 'deg', { title: 'Latitude', group: 'Position' }),
      column('velocity_east', 'm/s', { title: 'Velocity east', group: 'Position' }),
      column('velocity_north', 'm/s', { title: 'Velocity north', group: 'Position' }),
      column('longitude', 'deg', { title: 'Longitude', group: 'Position' }),
    ]),
    table('v/nav', 'packet', [column('onboard_altitude', 'm', { group: 'On-board', role: 'onboard_altitude' })]),
    table('v/estimate/vertical', 'estimate', [
      ...pair('altitude_m', 'm', { title: 'Altitude AGL', group: 'Vertical' }),
      column('hidden', '1', { group: '' }),
    ]),
  ]);
  const groups = strips_of(about, 0);
  const group = (title: string) => groups.find((one) => one.title === title);

  it('are shared where the description says so, not by name', () => {
    expect(group('Inertial')?.strips.map((s) => [s.title, ...s.series.map((x) => x.label)])).toEqual([
      ['Acceleration, body', 'x', 'y', 'z'],
    ]);
    expect(group('Position')?.strips.map((s) => s.title)).toEqual([
      'Latitude',
      'Velocity east',
      'Velocity north',
      'Longitude',
    ]);
  });
  it('of the altitude has a line where a parachute is to open on the way down', () => {
    const parachutes = [
      { name: 'drogue', below_m: NaN, after_s: 0.5 },
      { name: 'main', below_m: 180, after_s: 0 },
    ];
    const flown = { ...about, vehicles: [{ name: 'v', title: 'V', rocket: true, parachutes, more: {} }] };
    const limits = strips_of(flown, 0).flatMap((one) => one.strips.map((strip) => [strip.title, strip.limits]));
    expect(limits.filter(([, found]) => found?.length !== 0)).toEqual([
      ['Altitude AGL', [{ side: 'low', level: 'opens', value: 180, name: 'main' }]],
    ]);
  });
  it('are not shared across units, groups, or lines of one name', () => {
    const on = (line: string) => ({ strip: { title: 'T', line } });
    const odd = table('v/odd', 'packet', [
      column('a', 'm', on('x')),
      column('b', 'm', on('x')),
      column('c', 's', on('y')),
      column('d', 'm', { ...on('y'), group: 'H' }),
    ]);
    const lines = strips_of(description([odd]), 0).flatMap((one) => one.strips.map((strip) => strip.series.length));
    expect(lines).toEqual([1, 1, 1, 1]);
  });
  it('begin a new strip when a vector has more axes than lines can be told apart', () => {
    const many = table('v/cells', 'packet', [
      ...[1, 2, 3, 4, 5].map((i) => column(`cell_${i}`, 'V', { strip: { title: 'Cell', line: `${i}` } })),
    ]);
    const [cells] = strips_of(description([many]), 0);
    expect(cells?.strips.map((strip) => strip.series.length)).toEqual([4, 1]);
    expect(new Set(cells?.strips.map((strip) => strip.id)).size).toBe(2);
  });
  it('lay the on-board value over the estimate and give the estimate its band', () => {
    const strip = group('Vertical')?.strips[0];
    expect(strip?.title).toBe('Altitude AGL');
    expect(strip?.series).toEqual([
      { table: 3, column: 0, sigma: 1, low: -1, high: -1, label: 'ground', broken: false },
      { table: 2, column: 0, sigma: -1, low: -1, high: -1, label: 'on board', broken: true },
    ]);
  });
  it('show neither sigma columns nor columns without a group', () => expect(group('Vertical')?.strips.length).toBe(1));
  it('stand in the order of the description', () =>
    expect(groups.map((one) => one.title)).toEqual(['Inertial', 'Position', 'On-board', 'Vertical']));
  it('leave out clocks that only run', () => {
    const phase = table('v/estimate/phase', 'estimate', [
      words('phase', 'Phase', 'on the rail'),
      column('time_in_phase_s', 's'),
      column('time_since_liftoff_s', 's'),
    ]);
    const titles = strips_of(description([phase]), 0).flatMap((one) => one.strips.map((strip) => strip.title));
    expect(titles).toEqual(['Phase']);
  });
});

describe('a strip of an interval', () => {
  const ascent = table('v/estimate/ascent', 'estimate', [
    ...pair('apogee_m', 'm', { title: 'Predicted apogee', interval: ['apogee_low_m', 'apogee_high_m'] }),
    column('apogee_low_m', 'm'),
    column('apogee_high_m', 'm'),
    column('apogee_in_s', 's', { title: 'Time to apogee', interval: ['apogee_in_low_s', 'apogee_in_high_s'] }),
    column('apogee_in_low_s', 's'),
    column('apogee_in_high_s', 's'),
  ]);
  const strips = strips_of(description([ascent]), 0).flatMap((group) => group.strips);

  it('draws the bounds as the band of their value, not as strips', () => {
    expect(strips.map((strip) => strip.title)).toEqual(['Predicted apogee', 'Time to apogee']);
    expect(strips.map((strip) => strip.series.map((s) => [s.column, s.low, s.high]))).toEqual([
      [[0, 2, 3]],
      [[4, 5, 6]],
    ]);
  });
  it('says what its band means', () => {
    const [sigma] = strips_of(description([table('v/estimate/navigation', 'estimate', pair('east_m'))]), 0);
    const [plain] = strips_of(description([table('v/health', 'packet', [column('battery_voltage', 'V')])]), 0);
    const bands = [strips[0], sigma?.strips[0], plain?.strips[0]].map((strip) => strip && band_words(strip));
    expect(bands).toEqual(['90 %', '±1σ', '']);
  });
});
