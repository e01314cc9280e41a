/** What the charts of response and performance draw. Pure. */
import { decade_words, decades, even_steps, type ChartAxis, type ChartLine } from '../debrief/chart';
import { format_fixed } from '../text/format';

export const kLimitDash = [14, 3, 3, 3]; // a chain line, as every limit and every file's value

export const frequency_axis: ChartAxis = {
  log: true,
  words: (f_hz) => `${decade_words(f_hz)} Hz`,
  steps: decades,
};

export const plain_axis = (unit: string, decimals: number): ChartAxis => ({
  log: false,
  words: (value) => `${format_fixed(value, decimals)}${unit === '' ? '' : ` ${unit}`}`,
  steps: even_steps,
});

export const edges = (
  value: readonly number[],
  sigma: readonly number[],
): readonly [readonly number[], readonly number[]] => [
  value.map((middle, i) => middle - (sigma[i] ?? NaN)),
  value.map((middle, i) => middle + (sigma[i] ?? NaN)),
];

/** A line in its band; without one where there is none. */
export function banded(
  values: readonly number[],
  band: readonly [readonly number[], readonly number[]],
  colour = 1,
): ChartLine {
  return { values, colour, dash: [], ...(band[0].length === values.length ? { band } : {}) };
}

/** A scale's frequencies above zero: a logarithm has none for it. */
export function above_zero<T extends { f_hz: readonly number[] }>(of: T): { from: number; f_hz: number[] } {
  const from = of.f_hz.findIndex((f_hz) => f_hz > 0);
  return { from: Math.max(0, from), f_hz: of.f_hz.slice(Math.max(0, from)) };
}

/** Values of a file's curve at other moments; NaN outside it. */
export function resampled(at: readonly number[], x: readonly number[], y: readonly number[]): number[] {
  return at.map((wanted) => {
    const after = x.findIndex((value) => value >= wanted);
    if (after < 0 || (after === 0 && x[0] !== wanted)) return NaN;
    if (after === 0) return y[0] ?? NaN;
    const [x0 = NaN, x1 = NaN, y0 = NaN, y1 = NaN] = [x[after - 1], x[after], y[after - 1], y[after]];
    return x1 > x0 ? y0 + ((y1 - y0) * (wanted - x0)) / (x1 - x0) : y1;
  });
}
