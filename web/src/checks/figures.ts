/** Measured values of checks as people read them, in the units in which the station says what is required. */
import type { Column } from '../stream/description';
import { format_fixed, format_fraction, format_value, kNoValue } from '../text/format';
import { shown_decimals, shown_unit } from '../text/units';

export interface Scale {
  symbol: string;
  gain: number;
  decimals: number;
}

const kMilliseconds_s = 1; // below this
const kDigits = 3; // that tell something of a measured value
const kMinutes_s = 600; // from here on
const kHour_d = 1 / 24;

/** The unit that fits a value; its margin is read in the same one. */
export function scale_of(column: Column, value: number): Scale {
  const size = Math.abs(value);
  if (column.unit === 's' && size < kMilliseconds_s && size > 0)
    return { symbol: 'ms', gain: 1000, decimals: Math.min(1, Math.max(0, column.decimals - 2)) };
  if (column.unit === 's' && size >= kMinutes_s) return { symbol: 'min', gain: 1 / 60, decimals: 0 };
  if (column.unit === 'd' && size < kHour_d) return { symbol: 'min', gain: 1440, decimals: 0 };
  if (column.unit === 'd' && size < 1) return { symbol: 'h', gain: 24, decimals: 0 };
  if (column.unit === 'd') return { symbol: size === 1 ? 'day' : 'days', gain: 1, decimals: column.decimals };
  const { symbol, gain, offset } = shown_unit(column.unit);
  const shown = Math.abs(value * gain + offset);
  const told = shown > 0 ? kDigits - 1 - Math.floor(Math.log10(shown)) : kDigits;
  return { symbol, gain, decimals: Math.min(shown_decimals(column.unit, column.decimals), Math.max(0, told)) };
}

const kFraction = '{fraction}';
const kSpace = '\u00a0';

/** "18.6 ms"; a word where the value has one, a dash without a value. */
export function figure_words(column: Column, value: number): string {
  if (Number.isFinite(value) && (column.enumeration.size > 0 || column.unit === 'By'))
    return format_value(column, value);
  if (column.unit === kFraction) return format_fraction(value) || kNoValue;
  return with_unit(scale_of(column, value), value, shown_unit(column.unit).offset);
}

/** A margin, in the unit of the value whose it is, but days in days: a difference has no zero of its own. */
export const margin_words = (column: Column, margin: number, value: number): string =>
  with_unit(scale_of(column, column.unit === 'd' ? margin : value), margin, 0);

function with_unit({ symbol, gain, decimals }: Scale, value: number, offset: number): string {
  if (!Number.isFinite(value)) return kNoValue;
  const space = symbol === '°' ? '' : kSpace; // SI Brochure, 9th edition, section 5.4.3
  return `${format_fixed(value * gain + offset, decimals)}${space}${symbol}`.trim();
}
