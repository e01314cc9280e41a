/** Round axis divisions. Pure. */
import { format_fixed } from '../text/format';
import { shown_unit } from '../text/units';

/** Step of 1, 2 or 5 times a power of ten, so that `span` has at most `count` steps. */
export function nice_step(span: number, count: number): number {
  if (!(span > 0) || !(count > 0)) return 1;
  const rough = span / count;
  const power = 10 ** Math.floor(Math.log10(rough));
  const part = rough / power;
  return (part <= 1 ? 1 : part <= 2 ? 2 : part <= 5 ? 5 : 10) * power;
}

const kTimeSteps_s = [
  0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 43200, 86400,
];

/** Step in seconds that reads well on a clock, wide enough for `count` labels over `span_s`. */
export function time_step_s(span_s: number, count: number): number {
  const rough = span_s / Math.max(1, count);
  return kTimeSteps_s.find((step) => step >= rough) ?? 86400;
}

/** What stands at a division of a scale with this step: a number in the unit's shown form, of bytes with its prefix. */
export function tick_words(unit: string, tick: number, step: number): string {
  if (unit === 'By') {
    const prefix = Math.min(4, Math.floor(Math.log10(Math.max(Math.abs(tick), step)) / 3 + 1e-9));
    const scale = 1000 ** prefix;
    return `${format_fixed(tick / scale, Math.min(6, step_decimals(step / scale)))} ${['', 'k', 'M', 'G', 'T'][prefix] ?? ''}B`;
  }
  const { gain, offset } = shown_unit(unit);
  return format_fixed(tick * gain + offset, Math.min(6, step_decimals(step * gain)));
}

export function step_decimals(step: number): number {
  return Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
}
