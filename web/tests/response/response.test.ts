/** Control response, performance and shadow: answers read, sentences said. */
import { describe, expect, it } from 'vitest';
import { read_response } from '../../src/response/answer';
import { above_zero, resampled } from '../../src/response/lines';
import { level_range } from '../../src/response/levels';
import { read_performance, read_smoothed } from '../../src/response/performance';
import { kFirstLaw, law_request, read_shadow } from '../../src/response/shadow';
import { oscillation_rows, performance_sentence, response_sentence } from '../../src/response/wording';

const plain = (text: string): string => text.replace(/[\u202f\u00a0]/g, ' ').replace(/\u2212/g, '-');
const roll = {
  identifiable: true,
  why: '',
  lp: -2.1,
  lp_interval: [-2.4, -1.8],
  ld: 14.2,
  ld_interval: [13.1, 15.3],
  reference_q_pa: 3000,
};

describe('a control response', () => {
  it('says how roll answers the fins', () => {
    expect(plain(response_sentence(read_response({ roll })))).toBe(
      'Roll: p′ = -2.1 ± 0.2 p + 14.2 ± 0.6 δ at 3.0 kPa.',
    );
  });
  it('says why it cannot be found', () => {
    const none = read_response({ roll: { identifiable: false, why: 'no excitation.' } });
    expect(response_sentence(none)).toBe('Roll cannot be identified: no excitation.');
  });
  it('stands with nothing in it', () => {
    expect(response_sentence(read_response({}))).toBe('This flight tells nothing of its control response.');
  });
  it('is refused with the place of what is wrong', () => {
    expect(() => read_response({ roll: { identifiable: 'yes' } })).toThrow('response/roll/identifiable');
  });
  it('shows a static margin only when there is one', () => {
    const pitch = read_response({ pitch: { identifiable: true, natural_hz: 1.4, damping: 0.1 } }).pitch!;
    expect(oscillation_rows('Pitch', pitch).length).toBe(2);
    expect(oscillation_rows('Pitch', { ...pitch, static_margin_m: 0.14 }).at(-1)?.value).toBe('0.140');
  });
  it('has fins beside the rate of their axis, and nothing for what was not recorded', () => {
    const axes = { roll: { rate_radps: [0.5, null], commanded_rad: [0.1, 0.1] } };
    const { course } = read_response({ course: { t_s: [1, 2], axes } });
    expect(course?.t_s).toEqual([1, 2]);
    expect(course?.axes).toHaveLength(1);
    const [of] = course!.axes;
    expect([of!.axis, of!.measured_deg]).toEqual(['roll', []]);
    expect(of!.commanded_deg[1]).toBeCloseTo(5.73, 2);
    expect(of!.rate_degps[0]).toBeCloseTo(28.65, 2);
    expect(of!.rate_degps[1]).toBeNaN();
    const other = { yaw: axes.roll, pitch: axes.roll, roll: axes.roll };
    const { course: three } = read_response({ course: { t_s: [1, 2], axes: other } });
    expect(three?.axes.map(({ axis }) => axis)).toEqual(['roll', 'pitch', 'yaw']);
    expect(read_response({ course: null }).course).toBeUndefined();
    expect(() => read_response({ course: { t_s: [1], axes: [] } })).toThrow('response/course/axes');
  });
  it('reads a spectrogram by time, however it lies', () => {
    const of = (level_db: number[][]) =>
      read_response({ spectrogram: { channel: 'x', t_s: [0, 1], f_hz: [1, 2, 3], level_db } }).spectrogram?.level_db;
    const by_time = [
      [1, 2, 3],
      [4, 5, 6],
    ];
    expect(of(by_time)).toEqual(by_time);
    expect(
      of([
        [1, 4],
        [2, 5],
        [3, 6],
      ]),
    ).toEqual(by_time);
  });
});

it('a logarithmic axis begins above zero', () => {
  expect(above_zero({ f_hz: [0, 0.5, 1] })).toEqual({ from: 1, f_hz: [0.5, 1] });
});

it('a file’s curve is drawn where it has values', () => {
  expect(resampled([0, 0.5, 1, 2.5], [0, 1, 2], [10, 20, 0])).toEqual([10, 15, 20, NaN]);
});

it('levels span fifty decibels below the strongest', () => {
  expect(
    level_range([
      [-90, NaN],
      [-20, -30],
    ]),
  ).toEqual([-70, -20]);
});

describe('performance', () => {
  it('says what was found', () => {
    const found = read_performance({
      drag: {
        mach: [0.1, 0.47],
        cd: [0.5, 0.52],
        interval: [
          [0.4, 0.5],
          [0.6, 0.6],
        ],
        file_cd: [0.5, 0.5],
      },
      motor: { t_s: [0, 1], thrust_n: [0, 200], sigma_n: [1, 6], impulse_n_s: { value: 372.2, sigma: 6 }, burn_s: 2.1 },
      parachutes: [
        {
          id: 'main',
          drag_area_m2: { value: 4.1, sigma: 0.2 },
          opening_s: { value: 1.3, sigma: 0.1 },
          file_drag_area_m2: 4,
          file_opening_s: 1.5,
        },
      ],
      vehicle: { name: 'v' },
      reasons: {},
    });
    expect(plain(performance_sentence(found))).toBe(
      'Total impulse 372 ± 6 N·s, drag found up to Mach 0.47, one parachute measured.',
    );
  });
  it('says why not', () => {
    const none = read_performance({
      drag: null,
      motor: null,
      parachutes: [],
      vehicle: null,
      reasons: { drag: 'no coast' },
    });
    expect(performance_sentence(none)).toBe('This flight tells nothing of drag, motor or parachutes.');
    expect([...none.reasons]).toEqual([['drag', 'no coast']]);
  });
});

it('a smoothed series has both estimates', () => {
  const [series] = read_smoothed({
    series: [
      { key: 'a', title: 'A', unit: 'm', t_s: [0], value: [1], sigma: [0.1], filter_value: [1.2], filter_sigma: [0.3] },
    ],
  });
  expect([series?.value, series?.filter_value]).toEqual([[1], [1.2]]);
});

describe('a shadow', () => {
  it('is asked for in radians and seconds', () => {
    expect(law_request({ ...kFirstLaw, limit_deg: 180, delay_ms: 20 })).toMatchObject({
      form: 'pid',
      state: 'roll_radps',
      limit_rad: Math.PI,
      delay_s: 0.02,
    });
  });
  it('acts more where the air acts less', () => {
    const { schedule } = law_request({ ...kFirstLaw, reference_kpa: 2 }) as {
      schedule: { q_pa: number; factor: number }[];
    };
    expect(schedule.find(({ q_pa }) => q_pa === 2000)?.factor).toBe(1);
    for (const { q_pa, factor } of schedule) expect(q_pa * factor).toBeCloseTo(2000, 9);
  });
  it('is answered in degrees', () => {
    const { command_deg } = read_shadow({ t_s: [0], command_rad: [Math.PI / 18], limited_rad: [0], margins: [] });
    expect(command_deg[0]).toBeCloseTo(10, 12);
  });
});
