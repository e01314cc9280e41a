/** The one place where numbers become text. A minus sign is a minus sign, so that digits stand under digits. */
import type { FlightSeconds, UtcMs } from '../stream/clocks';
import type { Column } from '../stream/description';
import { shown_decimals, shown_unit, shown_value, shown_width } from './units';

export const kNoValue = '–';
const kMinus = '\u2212';
const kNarrowSpace = '\u202f';

export function format_fixed(value: number, decimals: number): string {
  if (!Number.isFinite(value)) return kNoValue;
  const text = value.toFixed(decimals);
  if (!text.startsWith('-')) return text;
  return Number(text) === 0 ? text.slice(1) : kMinus + text.slice(1);
}

/** Value of a column without its unit; the word when it is an enumeration. */
export function format_value(column: Column, value: number): string {
  if (!Number.isFinite(value)) return kNoValue;
  if (column.enumeration.size > 0) return column.enumeration.get(value) ?? `${format_fixed(value, 0)}?`;
  return format_shown(column.unit, value, column.decimals);
}

/** A number of a unit; `decimals` are those of the unit in which it travels. */
export const format_shown = (unit: string, value: number, decimals: number): string =>
  unit === 'By' ? format_size(value) : format_fixed(shown_value(unit, value), shown_decimals(unit, decimals));

/** 1-sigma with two significant digits, but no more than two decimals; three for times, which are known to milliseconds. */
export function format_spread(unit: string, sigma: number): string {
  const width = shown_width(unit, sigma);
  if (!(width >= 0) || !Number.isFinite(width)) return kNoValue;
  const decimals = width === 0 ? 1 : Math.min(unit === 's' ? 3 : 2, Math.max(0, 1 - Math.floor(Math.log10(width))));
  return format_fixed(width, decimals);
}

export const format_sigma = (unit: string, sigma: number): string => `±${kNarrowSpace}${format_spread(unit, sigma)}`;

const two = (value: number): string => String(value).padStart(2, '0');

/** Signed duration "+0:12.3", "−1:02:03.0". Truncated, so that a clock never shows a second early. */
export function format_clock(t_s: FlightSeconds, decimals = 1): string {
  if (!Number.isFinite(t_s)) return kNoValue;
  const scale = 10 ** decimals;
  const ticks = Math.floor(Math.abs(t_s) * scale + 1e-6);
  const whole = Math.floor(ticks / scale);
  const fraction = decimals > 0 ? `.${String(ticks % scale).padStart(decimals, '0')}` : '';
  const hours = Math.floor(whole / 3600);
  const minutes = Math.floor(whole / 60) % 60;
  const sign = t_s < 0 && ticks > 0 ? kMinus : '+';
  return `${sign}${hours > 0 ? `${hours}:${two(minutes)}` : minutes}:${two(whole % 60)}${fraction}`;
}

/** What a countdown has left: whole seconds, rounded up, so that T−0 is said at T−0 and no earlier. */
export const format_countdown = (left_s: number): string => `T${format_clock(-Math.ceil(left_s), 0)}`;

/** "2 min 05 s", "42 s": as wide as before a second later. */
export function format_duration(t_s: number): string {
  if (!Number.isFinite(t_s) || t_s < 0) return kNoValue;
  const whole = Math.round(t_s);
  const hours = Math.floor(whole / 3600);
  const minutes = Math.floor(whole / 60) % 60;
  if (hours > 0) return `${hours} h ${two(minutes)} min`;
  return minutes > 0 ? `${minutes} min ${two(whole % 60)} s` : `${whole} s`;
}

/** A fixed duration: "1 min", "2 min 05 s". */
export const format_span = (t_s: number): string => format_duration(t_s).replace(/ 00 (s|min)$/, '');

/** Time still to go: "in 6.3 s", "in 1 min 20 s", "now". Empty when unknown. */
export function format_to_go(t_s: number): string {
  if (!Number.isFinite(t_s)) return '';
  if (t_s < 0.05) return 'now';
  return t_s < 20 ? `in ${format_fixed(t_s, 1)} s` : `in ${format_duration(t_s)}`;
}

/** Age of a value, short: 0.2 s, 14 s, 3 min. */
export function age_figure(age_s: number): { value: string; unit: 's' | 'min' } {
  const age = Math.max(0, age_s);
  if (age < 10) return { value: age.toFixed(1), unit: 's' };
  return age < 100
    ? { value: String(Math.floor(age)), unit: 's' }
    : { value: String(Math.floor(age / 60)), unit: 'min' };
}

/** The same with hours: "3 h 05 min". */
export function format_age(age_s: number): string {
  if (!Number.isFinite(age_s)) return kNoValue;
  if (age_s >= 3600) return format_span(60 * Math.floor(age_s / 60));
  const { value, unit } = age_figure(age_s);
  return `${value} ${unit}`;
}

/** "14:32:05", or "14:32:05.2" with a decimal, of up to three. Truncated, as every clock is. */
export function format_utc_time(ms: UtcMs, decimals = 0): string {
  if (!Number.isFinite(ms)) return kNoValue;
  const end = decimals > 0 ? 20 + decimals : 19;
  return new Date(ms + 1e-3).toISOString().slice(11, end);
}

/** Whose day a clock shows. */
export type ClockZone = 'utc' | 'local';

/** Time of day, in UTC or as this device's own clock is set: its zone counts, not how right it is. */
export function format_time_of_day(ms: UtcMs, zone: ClockZone, decimals = 0): string {
  const ahead_ms = zone === 'local' ? -60_000 * new Date(ms).getTimezoneOffset() : 0;
  return format_utc_time(ms + (Number.isFinite(ahead_ms) ? ahead_ms : 0), decimals);
}

export function format_utc_date(ms: UtcMs): string {
  return Number.isFinite(ms) ? new Date(ms).toISOString().slice(0, 10) : kNoValue;
}

/** Size with decimal prefixes (IEC 80000-13). */
export function format_size(bytes: number): string {
  if (!Number.isFinite(bytes)) return kNoValue;
  const names = ['B', 'kB', 'MB', 'GB', 'TB'];
  let value = bytes;
  let step = 0;
  while (value >= 999.5 && step < names.length - 1) {
    value /= 1000;
    step++;
  }
  return `${step === 0 || value >= 100 ? value.toFixed(0) : value.toFixed(1)} ${names[step] ?? ''}`;
}

/** Three digits, as a compass bearing is read out: 7 is "007°". */
export function format_bearing(deg: number, decimals = 0): string {
  if (!Number.isFinite(deg)) return kNoValue;
  const scale = 10 ** decimals;
  const turned = (((Math.round(deg * scale) / scale) % 360) + 360) % 360;
  return `${format_fixed(turned, decimals).padStart(decimals > 0 ? 4 + decimals : 3, '0')}°`;
}

/** "393 to 431", or "6" where both round alike. */
export const from_to = (low: string, high: string): string => (low === high ? low : `${low} to ${high}`);

/** "393 to 431 m". */
export function format_interval(low: number, high: number, unit: string): string {
  if (!Number.isFinite(low) || !Number.isFinite(high)) return '';
  return `${from_to(format_fixed(low, 0), format_fixed(high, 0))} ${unit}`;
}

/** A fraction as a percentage that never rounds a risk away: "less than 0.1 %", "2.3 %", "41 %". */
export function format_fraction(fraction: number, less_than = 'less than '): string {
  if (!Number.isFinite(fraction)) return '';
  const percent = 100 * fraction;
  if (percent > 0 && percent < 0.1) return `${less_than}0.1\u00a0%`;
  return `${format_fixed(percent, percent > 0 && percent < 10 ? 1 : 0)}\u00a0%`;
}

/** "± 1.2 m"; empty when there is none. */
export function plus_minus(sigma: number, unit: string): string {
  return Number.isFinite(sigma) ? `${format_sigma(unit, sigma)} ${shown_unit(unit).symbol}` : '';
}

/** The first letter large, as a word stands by itself. */
export const capital = (text: string): string => text.charAt(0).toUpperCase() + text.slice(1);
