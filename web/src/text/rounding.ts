/** Values rounded to their ±: no digit that the uncertainty denies. */
import type { Column } from '../stream/description';
import { format_fixed, format_value, kNoValue } from './format';
import { shown_decimals, shown_unit, shown_value, shown_width } from './units';

export interface Rounded {
  text: string;
  /** "± 2", one significant digit, in the value's unit; empty without one. */
  sigma: string;
}

const kNarrowSpace = '\u202f';

/** A value as shown, with the place of the ±'s first digit as its last one, and never more digits than the column has. */
export function rounded(column: Column, value: number, sigma: number): Rounded {
  if (column.enumeration.size > 0 || !Number.isFinite(value) || !(sigma > 0) || !Number.isFinite(sigma))
    return { text: format_value(column, value), sigma: '' };
  const most = shown_decimals(column.unit, column.decimals);
  return rounded_number(shown_value(column.unit, value), shown_width(column.unit, sigma), most);
}

/** As `rounded`, of a number that has no column; at most `most` decimals. */
export function rounded_number(value: number, sigma: number, most = 2): Rounded {
  if (!Number.isFinite(value)) return { text: kNoValue, sigma: '' };
  if (!(sigma > 0) || !Number.isFinite(sigma)) return { text: format_fixed(value, most), sigma: '' };
  const place = Math.floor(Math.log10(Number(sigma.toPrecision(1))));
  const decimals = Math.min(most, Math.max(0, -place));
  const step = 10 ** Math.max(0, place);
  const at = (number: number): string => format_fixed(Math.round(number / step) * step, decimals);
  const shown = decimals === 0 ? at(sigma) : format_fixed(sigma, decimals);
  const width = Number(shown) === 0 ? format_fixed(10 ** -decimals, decimals) : shown;
  return { text: decimals === 0 ? at(value) : format_fixed(value, decimals), sigma: `±${kNarrowSpace}${width}` };
}

/** "± 2 m/s"; empty without one. */
export const sigma_words = (figure: Rounded, unit: string): string =>
  figure.sigma === '' ? '' : `${figure.sigma} ${shown_unit(unit).symbol}`.trim();
