/** What is drawn of the future: it begins where the vehicle is, and ends where the predictions say. */
import { describe, expect, it } from 'vitest';
import { future_of, type Outlook } from '../../../src/tape/flight/future';

const now: Outlook = {
  t_s: 100,
  altitude_m: 600,
  vertical_speed_mps: -24,
  apogee_m: NaN,
  apogee_in_s: NaN,
  next_in_s: NaN,
  next_rate_mps: NaN,
};

describe('on the way up', () => {
  const { altitude, speed } = future_of({
    ...now,
    altitude_m: 800,
    vertical_speed_mps: 90,
    apogee_m: 1107,
    apogee_in_s: 8,
  });
  it('the height begins as it is and ends at rest at the predicted apogee', () => {
    expect(altitude[0]).toEqual({ t_s: 100, value: 800 });
    expect(altitude.at(-1)?.t_s).toBeCloseTo(108, 9);
    expect(altitude.at(-1)?.value).toBeCloseTo(1107, 9);
    expect([speed[0]?.value, speed.at(-1)?.value].map((value) => Math.round(value ?? NaN))).toEqual([90, 0]);
  });
});

describe('on the way down', () => {
  it('goes on as fast as now until the ground when no parachute is to come', () =>
    expect(future_of(now).altitude).toEqual([
      { t_s: 100, value: 600 },
      { t_s: 125, value: 0 },
    ]));
  it('slows down when the next parachute is due', () => {
    const { altitude, speed } = future_of({ ...now, next_in_s: 17.5, next_rate_mps: 6 });
    expect(altitude).toEqual([
      { t_s: 100, value: 600 },
      { t_s: 117.5, value: 180 },
      { t_s: 147.5, value: 0 },
    ]);
    expect(speed.map((point) => point.value)).toEqual([-24, -24, -6, -6]);
  });
  it('never goes below the ground, though a parachute were due later', () => {
    const { altitude } = future_of({ ...now, next_in_s: 60, next_rate_mps: 6 });
    expect(Math.min(...altitude.map((point) => point.value))).toBe(0);
    expect(altitude.at(-1)?.t_s).toBeCloseTo(125, 9);
  });
});

it.each([
  ['without a height', { altitude_m: NaN }],
  ['on the ground', { altitude_m: 0.5, vertical_speed_mps: 0 }],
  ['hanging still', { vertical_speed_mps: 0.1 }],
])('%s nothing is said', (_, part) => expect(future_of({ ...now, ...part })).toEqual({ altitude: [], speed: [] }));
