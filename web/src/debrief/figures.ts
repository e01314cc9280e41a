/** Key figures as people read them: rounded to their ±, in the unit that is shown. */
import type { Figure } from '../stream/flights';
import { format_bearing, format_duration, format_fixed, from_to, kNoValue } from '../text/format';
import { rounded_number, type Rounded } from '../text/rounding';
import { shown_unit, shown_value, shown_width } from '../text/units';

/** Decimals of a figure that does not say how well it is known. */
const kPlain: Readonly<Record<string, number>> = {
  m: 0,
  deg: 0,
  '{fraction}': 1,
  '%': 1,
  'm/s': 1,
  'm/s2': 1,
  s: 1,
  Pa: 2,
};
const kMost = 3;

/** A value of a unit; `sigma` NaN: it does not say how well it is known. */
export function figure_of(unit: string, value: number, sigma: number): Rounded {
  const [shown, width] = [shown_value(unit, value), shown_width(unit, sigma)];
  return rounded_number(shown, width, sigma > 0 ? kMost : (kPlain[unit] ?? significant(shown)));
}

/** Decimals that leave three significant digits. */
const significant = (value: number): number =>
  value === 0 || !Number.isFinite(value) ? 0 : Math.min(6, Math.max(0, 2 - Math.floor(Math.log10(Math.abs(value)))));

/** "1107 ± 2"; without a ± the value alone. */
export function with_spread(unit: string, value: number, sigma: number): string {
  const { text, sigma: width } = figure_of(unit, value, sigma);
  return width === '' ? text : `${text} ${width}`;
}

/** "1107 ± 2 m". */
export function figure_words(unit: string, value: number, sigma: number): string {
  const words = with_spread(unit, value, sigma);
  const { symbol } = shown_unit(unit);
  return symbol === '' || !Number.isFinite(value) ? words : `${words}${symbol === '°' ? '' : '\u00a0'}${symbol}`;
}

/** "0.42 to 0.51", as an interval is read; empty when there is none. */
export function interval_words(unit: string, [low, high]: readonly [number, number]): string {
  if (!Number.isFinite(low) || !Number.isFinite(high)) return '';
  const [from, to] = [shown_value(unit, low), shown_value(unit, high)];
  const decimals = Math.max(significant(from), significant(to));
  const most = Math.min(decimals, Math.max(0, 1 - Math.floor(Math.log10(Math.abs(to - from) || 1))));
  return from_to(format_fixed(from, most), format_fixed(to, most));
}

/** "114 m" and "at 116°"; a dash and nothing where it is not known. */
export function landing_parts(figures: ReadonlyMap<string, Figure>): { away: string; bearing: string } {
  const [away, bearing] = [figures.get('landing_m'), figures.get('landing_deg')];
  if (!away || !Number.isFinite(away.value)) return { away: kNoValue, bearing: '' };
  const known = bearing !== undefined && Number.isFinite(bearing.value);
  return {
    away: `${figure_of('m', away.value, away.sigma).text}\u00a0m`,
    bearing: known ? `at ${format_bearing(bearing.value)}` : '',
  };
}

/** "114 m at 116°"; empty where it is not known. */
export function landing_words(figures: ReadonlyMap<string, Figure>): string {
  const { away, bearing } = landing_parts(figures);
  return away === kNoValue ? '' : `${away} ${bearing}`.trim();
}

/** "1:22", as a stopwatch says it. */
export function stopwatch(t_s: number): string {
  if (!(t_s >= 0) || !Number.isFinite(t_s)) return format_duration(NaN);
  const whole = Math.round(t_s);
  return whole >= 3600 ? format_duration(t_s) : `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, '0')}`;
}

/** Mean and sample standard deviation of what is known; not numbers when nothing is. */
export function mean_of(values: readonly number[]): { mean: number; sd: number; n: number } {
  const known = values.filter(Number.isFinite);
  const n = known.length;
  const mean = n > 0 ? known.reduce((sum, value) => sum + value, 0) / n : NaN;
  const squares = known.reduce((sum, value) => sum + (value - mean) ** 2, 0);
  return { mean, sd: n > 1 ? Math.sqrt(squares / (n - 1)) : NaN, n };
}

/** A difference or a spread, which has no zero of its own: 0.3 K is 0.3 °C wide. */
export function difference_words(unit: string, value: number): string {
  const shown = shown_width(unit, value);
  return format_fixed(shown, significant(shown));
}
