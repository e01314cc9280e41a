/** The comparison: its answer read, its lines, its sentences. */
import { describe, expect, it } from 'vitest';
import { read_comparison } from '../../src/compare/answer';
import { difference_lines, lines_of, time_axis } from '../../src/compare/charts';
import { comparison_sentence, outlier_words, trend_words } from '../../src/compare/wording';

const plain = (text: string): string => text.replace(/[\u202f\u00a0]/g, ' ').replace(/\u2212/g, '-');
const values = (...of: number[]): object[] => of.map((value) => ({ value, sigma: 2 }));
const answer = {
  flights: ['a', 'b', 'c'].map((id, i) => ({ id, name: id, letter: 'ABC'[i] })),
  series: [
    {
      key: 'altitude_m',
      title: 'Altitude AGL',
      unit: 'm',
      t_s: [0, 1, 2],
      flights: [
        { value: [0, 10, null], sigma: [1, 1, 1] },
        { value: [0, 12, 20], sigma: [] },
        { value: [0, 11, 19], sigma: [1, 1, 1] },
      ],
      mean: [0, 11, 19.5],
      sd: [0, 1, 0.7],
      interval: [
        [0, 8, 13],
        [0, 14, 26],
      ],
      minus_first: [
        [0, 0, 0],
        [0, 2, null],
        [0, 1, null],
      ],
      prediction: { value: [0, 13, 22], sigma: [1, 2, 3] },
      simulated: { value: [0, 11, 20], sigma: [1, 2, 2] },
    },
  ],
  figures: [
    {
      key: 'apogee_m',
      title: 'Apogee AGL',
      unit: 'm',
      values: values(1107, 1094, 1061),
      n: 3,
      mean: 1087.3,
      sd: 23.7,
      interval: [1028, 1146],
      relative_spread: 0.0218,
      outliers: [{ flight: 2, test: 'Grubbs', statistic: 1.15, critical: 1.15 }],
    },
  ],
  trend: [{ key: 'apogee_m', slope_per_day: 4.1, slope_error: 0.2, interval: [1.2, 7], n: 3 }],
  changes: [{ from: 0, to: 1, changes: [{ pointer: '/mass', before: 4.2, after: null }] }],
};

describe('an answer', () => {
  const read = read_comparison(answer);
  it('is read, with NaN for what is null', () => {
    expect(read.series[0]?.flights[0]?.value[2]).toBeNaN();
    expect(read.changes[0]?.changes[0]).toEqual({ pointer: '/mass', before: '4.2', after: '' });
  });
  it('that is wrong is refused with the place', () => {
    expect(() => read_comparison({ ...answer, figures: [{ key: 1 }] })).toThrow('comparison/figures/0/key');
  });

  it('gives each flight a line of its own, with a band where its ± is known', () => {
    const [series] = read.series;
    const lines = lines_of(series!, { bands: true, mean: false, prediction: false, simulated: false });
    expect(new Set(lines.map(({ colour, dash }) => JSON.stringify([colour, dash]))).size).toBe(3);
    expect(lines.map(({ band }) => band !== undefined)).toEqual([true, false, true]);
    expect(lines[0]?.band?.[1][1]).toBe(11);
  });
  it('draws pascals in the hectopascals that its axis counts, and metres as they are', () => {
    const series = { ...read.series[0]!, unit: 'Pa' };
    const [line] = lines_of(series, { bands: true, mean: false, prediction: false, simulated: false });
    expect([line?.values[1], line?.band?.[1][1]]).toEqual([0.1, 0.11]);
  });
  it('draws mean, prediction and simulated flight when they are asked for, each with a line of its own', () => {
    const lines = lines_of(read.series[0]!, { bands: false, mean: true, prediction: true, simulated: true });
    expect(lines.length).toBe(6);
    expect(new Set(lines.map(({ colour, dash }) => JSON.stringify([colour, dash]))).size).toBe(6);
    expect([lines[4]?.values[2], lines[5]?.values[2], lines[5]?.band?.[1][2]]).toEqual([22, 20, 22]);
    expect(difference_lines(read.series[0]!).length).toBe(3);
  });
  it('begins with a sentence that names the one unlike the others', () => {
    expect(plain(comparison_sentence(read, ['Flight 7', 'Flight 6', 'Flight 5']))).toBe(
      'Apogee of three flights 1090 ± 20 m. Flight 5 flew 40 m lower.',
    );
  });
  it('names none when they are spread evenly', () => {
    const apogee = read.figures.find(({ key }) => key === 'apogee_m')!;
    const values = [1100, 1090, 1080].map((value) => ({ value, sigma: 2 }));
    const even = { ...read, figures: [{ ...apogee, values }] };
    expect(plain(comparison_sentence(even, ['A', 'B', 'C']))).toBe('Apogee of three flights 1090 ± 20 m.');
  });
  it('names the test that found an outlier', () => {
    expect(outlier_words(read.figures[0]!.outliers[0]!, 'Apogee AGL', 'Flight 5')).toBe(
      'Flight 5: apogee AGL (Grubbs, 1.15 against 1.15).',
    );
  });
  it('says of a trend whether it is one', () => {
    expect(plain(trend_words(read.trend[0]!, 'Apogee AGL', 'm'))).toBe(
      'Apogee AGL: 4.1 ± 0.2 m a day, 95 % interval 1.2 to 7.0.',
    );
    expect(trend_words({ ...read.trend[0]!, interval: [-1, 7] }, 'Apogee AGL', 'm')).toContain('no trend');
  });
});

it('the axis calls its zero by the event', () => {
  const axis = time_axis('apogee');
  expect(axis.steps(-20, 70, 4)).toContain(0);
  expect([axis.words(0), axis.words(30), axis.words(-15)].map(plain)).toEqual(['apogee', '+0:30', '-0:15']);
});
