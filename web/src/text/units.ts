/**
 * Units as people read them. Values travel in SI with UCUM spelling (UCUM 2.1, case sensitive); here a unit gets its
 * typographic form (SI Brochure, 9th edition, section 5.4: exponents raised, a space before every unit but the degree of
 * arc), and a few get a form easier to read.
 */
export interface Shown {
  /** As printed behind the number; empty when dimensionless. */
  symbol: string;
  /** shown = value * gain + offset */
  gain: number;
  offset: number;
}

const plain = (symbol: string): Shown => ({ symbol, gain: 1, offset: 0 });

const kShown: ReadonlyMap<string, Shown> = new Map([
  ['1', plain('')],
  ['', plain('')],
  ['K', { symbol: '°C', gain: 1, offset: -273.15 }],
  ['Cel', plain('°C')],
  ['Pa', { symbol: 'hPa', gain: 0.01, offset: 0 }],
  ['deg', plain('°')],
  ['By', plain('')], // its numbers bring their prefix along (format_size)
  ['rad/s', { symbol: '°/s', gain: 180 / Math.PI, offset: 0 }],
  ['[ppm]', plain('ppm')],
  ['%', plain('%')],
  ['{fraction}', { symbol: '%', gain: 100, offset: 0 }],
  ['uT', plain('µT')],
  ['us', plain('µs')],
  ['dB{mW}', plain('dBm')],
]);

/** A whole number as an exponent: "-2" to "⁻²". */
export const raised = (whole: string): string =>
  whole.replace('-', '⁻').replace(/\d/g, (digit) => '⁰¹²³⁴⁵⁶⁷⁸⁹'[Number(digit)] ?? '');

/** "m/s2" to "m/s²", "kg.m2" to "kg·m²", "{rev}/min" to "rev/min". */
function typeset(unit: string): string {
  return unit
    .replace(/([A-Za-z\]])(-?\d+)/g, (_, letter: string, digits: string) => letter + raised(digits))
    .replace(/\./g, '·')
    .replace(/\bdeg\b/g, '°')
    .replace(/\bBy\b/g, 'B')
    .replace(/[[\]{}]/g, '');
}

export function shown_unit(unit: string): Shown {
  return kShown.get(unit) ?? plain(typeset(unit));
}

/** A difference, such as a 1-sigma, has no offset: 0.3 K is 0.3 °C wide. */
export function shown_width(unit: string, width: number): number {
  return width * shown_unit(unit).gain;
}

export function shown_value(unit: string, value: number): number {
  const shown = shown_unit(unit);
  return value * shown.gain + shown.offset;
}

/** Decimals fitting the shown unit: a pascal column of 0 decimals is a hectopascal one of 2. */
export function shown_decimals(unit: string, decimals: number): number {
  const gain = shown_unit(unit).gain;
  return Math.min(9, Math.max(0, decimals - Math.round(Math.log10(gain))));
}

/** Words for a screen reader, which reads "m/s²" badly. */
export function spoken_unit(unit: string): string {
  const spoken: Readonly<Record<string, string>> = {
    m: 'metres',
    'm/s': 'metres per second',
    'm/s2': 'metres per second squared',
    s: 'seconds',
    V: 'volts',
    Pa: 'hectopascals',
    K: 'degrees Celsius',
    deg: 'degrees',
    'rad/s': 'degrees per second',
    '%': 'percent',
    '1': '',
  };
  return spoken[unit] ?? shown_unit(unit).symbol;
}
