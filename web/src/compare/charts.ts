/** What the charts of a comparison draw. Pure. */
import type { ChartAxis, ChartLine } from '../debrief/chart';
import { even_steps } from '../debrief/chart';
import { style_of, type LineStyle } from '../debrief/letters';
import { time_step_s } from '../draw/ticks';
import { format_clock } from '../text/format';
import { shown_unit } from '../text/units';
import type { ComparedSeries } from './answer';

export interface Shown {
  /** One standard deviation around each line. */
  bands: boolean;
  /** The mean of all, with its sample standard deviation. */
  mean: boolean;
  prediction: boolean;
  simulated: boolean;
}

const kMeanDash = [1, 3];
/** By the files, before the flight and after it. */
export const kCourses: Record<'prediction' | 'simulated', LineStyle> = {
  prediction: { colour: 0, dash: [2, 4.5] }, // dotted, as every prediction
  simulated: { colour: 0, dash: [12, 3, 2, 3, 2, 3] },
};

const edges = (value: readonly number[], sigma: readonly number[]): readonly [number[], number[]] => [
  value.map((middle, i) => middle - (sigma[i] ?? NaN)),
  value.map((middle, i) => middle + (sigma[i] ?? NaN)),
];

export function lines_of(series: ComparedSeries, shown: Shown): ChartLine[] {
  const lines: ChartLine[] = series.flights.map(({ value, sigma }, place) => ({
    values: value,
    ...style_of(place),
    ...(shown.bands && sigma.some(Number.isFinite) ? { band: edges(value, sigma) } : {}),
  }));
  if (shown.mean && series.mean.some(Number.isFinite))
    lines.push({ values: series.mean, colour: 0, dash: kMeanDash, band: edges(series.mean, series.sd) });
  for (const which of ['prediction', 'simulated'] as const) {
    const course = series[which];
    if (shown[which] && course)
      lines.push({ values: course.value, ...kCourses[which], band: edges(course.value, course.sigma) });
  }
  return lines.map((line) => in_unit(line, series.unit));
}

/** A line as the axis counts: pascals in hectopascals. */
function in_unit(line: ChartLine, unit: string): ChartLine {
  const { gain, offset } = shown_unit(unit);
  if (gain === 1 && offset === 0) return line;
  const shown = (values: readonly number[]): number[] => values.map((value) => value * gain + offset);
  return {
    ...line,
    values: shown(line.values),
    ...(line.band ? { band: [shown(line.band[0]), shown(line.band[1])] } : {}),
  };
}

/** Each flight less the first, and the first as the line they are measured from. */
export const difference_lines = (series: ComparedSeries): ChartLine[] =>
  series.minus_first.map((values, place) => ({ values, ...style_of(place) }));

/** Time since the event that the flights share, which gives zero its word. */
export const time_axis = (align: string): ChartAxis => ({
  log: false,
  words: (t_s) => (Math.abs(t_s) < 1e-6 ? align : format_clock(t_s, Number.isInteger(t_s) ? 0 : 1)),
  steps: (low, high, count) => {
    const step = time_step_s(high - low, Math.max(1, count));
    const first = Math.ceil(low / step - 1e-9);
    const last = Math.floor(high / step + 1e-9);
    if (last - first > 100) return even_steps(low, high, count);
    return Array.from({ length: Math.max(0, last - first + 1) }, (_, i) => (first + i) * step);
  },
});
