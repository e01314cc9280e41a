/**
 * Figures as one viewer wants them: metric, or feet and miles an hour, rounded so that no digit stands that the ± denies.
 * Factors are exact by definition (international foot and statute mile, NIST SP 811 appendix B).
 */
import { format_bearing, format_duration, format_fixed, kNoValue } from './format';

export type Units = 'metric' | 'feet';
export type Quantity = 'length' | 'speed';

interface Unit {
  symbol: string;
  /** As it is said aloud. */
  spoken: string;
  gain: number;
}

const kUnits: Readonly<Record<Units, Readonly<Record<Quantity, Unit>>>> = {
  metric: {
    length: { symbol: 'm', spoken: 'metres', gain: 1 },
    speed: { symbol: 'm/s', spoken: 'metres a second', gain: 1 },
  },
  feet: {
    length: { symbol: 'ft', spoken: 'feet', gain: 1 / 0.3048 },
    speed: { symbol: 'mph', spoken: 'miles an hour', gain: 3600 / 1609.344 },
  },
};

export const unit_of = (quantity: Quantity, units: Units): Unit => kUnits[units][quantity];

export interface Shown {
  text: string;
  unit: string;
  /** "± 2 m"; empty when it is not known. */
  spread: string;
  /** The number that the text says, in the viewer's unit. */
  number: number;
}

/** The decade of the ±, and never less than a whole one: 959 ± 2 m, 1110 ± 20 m. */
export function step_of(sigma: number, least = 1): number {
  return sigma > 0 && Number.isFinite(sigma) ? Math.max(least, 10 ** Math.floor(Math.log10(sigma))) : least;
}

export const rounded_to = (value: number, step: number): number => Math.round(value / step) * step;

/** `least_m`: what it is rounded to at best, in SI; a predicted place is known to 10 m. */
export function with_sigma(quantity: Quantity, value: number, sigma: number, units: Units, least = 1): Shown {
  const { gain, symbol } = unit_of(quantity, units);
  if (!Number.isFinite(value)) return { text: kNoValue, unit: '', spread: '', number: NaN };
  const step = step_of(gain * sigma, least);
  const number = rounded_to(gain * value, step) + 0; // no negative zero
  const spread = Number.isFinite(sigma)
    ? `±\u202f${format_fixed(Math.max(step, rounded_to(gain * sigma, step)), 0)}\u00a0${symbol}`
    : '';
  return { text: format_fixed(number, 0), unit: symbol, spread, number };
}

/** A predicted direction is known to 5°. */
export const predicted_bearing = (deg: number): string => format_bearing(rounded_to(deg, 5));

const kWinds = ['north', 'north-east', 'east', 'south-east', 'south', 'south-west', 'west', 'north-west'] as const;

/** "south-east" for 116°. */
export const compass_word = (deg: number): string => kWinds[((Math.round(deg / 45) % 8) + 8) % 8] ?? '';

/** Time to go as people say it, in whole seconds: "5 s", "1 min 12 s". Never below zero. */
export const to_go = (t_s: number): string => format_duration(Math.max(0, t_s));

/**
 * A sentence of the station in the viewer's units. It was made with metres, rounded to what is known; feet are rounded
 * as coarsely.
 */
export function sentence_in(text: string, units: Units): string {
  if (units === 'metric') return text;
  return text.replace(/(\d+)([ \u00a0\u202f])(m\/s|m)(?![\w/])/g, (_, digits: string, space: string, unit: string) => {
    const { gain, symbol } = unit_of(unit === 'm' ? 'length' : 'speed', units);
    const zeros = /0*$/.exec(digits)?.[0].length ?? 0;
    const step = 10 ** Math.min(zeros, 2);
    return `${format_fixed(rounded_to(gain * Number(digits), step), 0)}${space}${symbol}`;
  });
}

/** A sign, a number and its unit never stand on two lines. */
export const unbroken = (text: string): string =>
  text.replace(/(?<=[≤≥±]) | (?=[°±])|(?<=\d) (?=[a-zA-Z%]{1,3}\b)/g, '\u00a0');
