/** Which strips stand open: they follow the flight until somebody chooses. */
import { describe, expect, it } from 'vitest';
import {
  kFollowsFlight,
  main_strips,
  read_arrangement,
  stage_of,
  top_strips,
  with_group,
  with_strip,
  type Stage,
} from '../../src/strips/arrangement';
import { strips_of } from '../../src/tape/strips';
import { column, description, pair, table } from '../support/builders';

const channel = (role: string) => column(role, '1', { role, title: role });
const about = description([
  table('v/estimate/vertical', 'estimate', [...pair('altitude_m'), ...pair('vertical_speed_mps', 'm/s')]),
  table('v/estimate/navigation', 'estimate', [column('tilt_deg', 'deg')]),
  table('v/imu', 'packet', ['accel_body_x', 'rate_body_x'].map(channel)),
  table('v/all', 'packet', ['static_pressure', 'battery_voltage', 'satellites_used', 'radio_rssi'].map(channel)),
  table('link/radio', 'link', [column('loss_10s')], { vehicle: -1 }),
]);
const groups = strips_of(about, 0);
const names = (stage: Stage): string[] =>
  main_strips(about, groups, stage).map((strip) => strip.id.replace(/^.*\//, ''));

describe('the stage of a flight', () => {
  it.each([
    ['on the rail', 'rail'],
    ['', 'rail'],
    ['under thrust', 'ascent'],
    ['coasting', 'ascent'],
    ['falling (no parachute)', 'descent'],
    ['under drogue', 'descent'],
    ['under main', 'descent'],
    ['presumed down', 'down'],
  ])('of "%s" is %s', (phase, stage) => expect(stage_of(phase)).toBe(stage));
});

describe('the strips on top', () => {
  it.each([
    ['rail', ['static_pressure', 'accel_body_x', 'rate_body_x', 'battery_voltage', 'satellites_used', 'loss_10s']],
    ['ascent', ['altitude_m', 'vertical_speed_mps', 'accel_body_x', 'tilt_deg', 'rate_body_x', 'loss_10s']],
    ['descent', ['altitude_m', 'vertical_speed_mps', 'accel_body_x', 'rate_body_x', 'battery_voltage', 'loss_10s']],
    ['down', ['altitude_m', 'vertical_speed_mps', 'satellites_used', 'battery_voltage', 'loss_10s', 'radio_rssi']],
  ] as const)('%s', (stage, want) => expect(names(stage)).toEqual(want));
  it('are the first ones of a dictionary that has none of these channels', () => {
    const boat = description([
      table(
        'b/engine',
        'packet',
        ['a', 'b', 'c', 'd', 'e', 'f', 'g'].map((name) => column(name, 'K')),
      ),
    ]);
    expect(main_strips(boat, strips_of(boat, 0), 'rail').map((strip) => strip.title)).toEqual([
      'a',
      'b',
      'c',
      'd',
      'e',
      'f',
    ]);
  });
  it('are what somebody chose, whatever the stage, and follow the flight again when asked', () => {
    const top = main_strips(about, groups, 'rail');
    const chosen = with_strip(kFollowsFlight, top, 'v/estimate/vertical/altitude_m');
    const without = with_strip(chosen, top_strips(about, groups, 'down', chosen), 'v/imu/accel_body_x');
    expect(top_strips(about, groups, 'down', without).map((strip) => strip.id)).toEqual([
      'v/all/static_pressure',
      'v/imu/rate_body_x',
      'v/all/battery_voltage',
      'v/all/satellites_used',
      'link/radio/loss_10s',
      'v/estimate/vertical/altitude_m',
    ]);
    expect(top_strips(about, groups, 'rail', kFollowsFlight)).toEqual(top);
  });
});

describe('what a device keeps', () => {
  it('comes back as it was', () => {
    const kept = with_group(with_strip(kFollowsFlight, [], 'x'), 'Health');
    expect(read_arrangement(JSON.stringify(kept))).toEqual({ pinned: ['x'], open: ['Health'] });
    expect(with_group(kept, 'Health').open).toEqual([]);
  });
  it.each([null, '', 'no JSON', '7', '[]', '{"pinned":[1],"open":"x"}'])('is nothing when it holds %s', (kept) =>
    expect(read_arrangement(kept)).toEqual(kFollowsFlight),
  );
});
