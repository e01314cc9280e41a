/** The shock response spectrum of a firing, drawn on two logarithmic axes. */
import type { TapeSeconds } from '../stream/clocks';
import { array, fail, number, object, type Json } from '../stream/json';
import { numbers } from '../stream/json_lists';
import { format_fixed } from '../text/format';

export interface Shock {
  /** 1 / (2 q) is the damping as a fraction of critical. */
  q: number;
  /** Empty: the record is too coarse around the firing, or has a hole. */
  natural_hz: readonly number[];
  peak_mps2: readonly number[];
}

const kSame_s = 0.5;

/** That of a firing, from the station's answer. */
export function read_shock(answer: Json, vehicle: number, charge: string, fired_s: TapeSeconds): Shock | undefined {
  const path = '/shocks';
  const found = array(answer['shocks'], path)
    .map((one) => object(one, path))
    .find(
      (one) =>
        one['vehicle'] === vehicle &&
        one['charge'] === charge &&
        Math.abs(number(one, 't_s', path) - fired_s) < kSame_s,
    );
  if (!found) return undefined;
  const natural_hz = numbers(found, 'natural_hz', path);
  const peak_mps2 = numbers(found, 'peak_mps2', path);
  if (natural_hz.length !== peak_mps2.length) fail(path, 'peaks of all frequencies', found);
  return { q: number(answer, 'q', ''), natural_hz, peak_mps2 };
}

const kFirst_ms = 3000; // what follows from a firing is recorded some seconds after it

/** Asks until there is an answer, each time after twice as long; returns what ends it. */
export function ask_until<T extends object>(ask: () => Promise<T | undefined>, take: (found: T) => void): () => void {
  let wait_ms = kFirst_ms;
  let timer: ReturnType<typeof setTimeout> | undefined;
  const end = (): void => {
    clearTimeout(timer);
    timer = undefined;
  };
  const next = (): void => {
    timer = setTimeout(next, wait_ms);
    wait_ms *= 2;
    ask().then(
      (found) => {
        if (!found || !timer) return;
        end();
        take(found);
      },
      () => undefined,
    );
  };
  next();
  return end;
}

export interface Spectrum {
  /** For a box of 600 by 100. */
  path: string;
  /** Heights as parts from the bottom. */
  ticks: readonly { part: number; text: string }[];
  /** Percent from the left. */
  marks: readonly { part: number; text: string }[];
  greatest: string;
  damping: string;
}

const kRound = [1, 2, 5];
const kPad = 0.06; // of the height, below and above

/** Round numbers from `low` to `high`, with their places between the two, by the logarithm. */
function places_of(low: number, high: number): { part: number; text: string }[] {
  const places = [];
  for (let power = 10 ** Math.floor(Math.log10(low)); power <= high; power *= 10)
    for (const value of kRound.map((digit) => digit * power))
      if (value >= low && value <= high)
        places.push({ part: Math.log(value / low) / Math.log(high / low), text: String(Number(value.toPrecision(1))) });
  return places;
}

export function spectrum_of({ natural_hz, peak_mps2, q }: Shock): Spectrum | undefined {
  const [first = NaN, last = NaN] = [natural_hz[0], natural_hz.at(-1)];
  const most = Math.max(...peak_mps2);
  const least = Math.min(...peak_mps2);
  if (!(last > first && first > 0 && least > 0)) return undefined;
  const room = Math.max(2, most / least) ** kPad;
  const [low, high] = [least / room, most * room];
  const across = (hz: number): number => Math.log(hz / first) / Math.log(last / first);
  const points = natural_hz.map((hz, i) => {
    const up = Math.log((peak_mps2[i] ?? NaN) / low) / Math.log(high / low);
    return `${(600 * across(hz)).toFixed(0)} ${(100 * (1 - up)).toFixed(1)}`;
  });
  const at_hz = natural_hz[peak_mps2.indexOf(most)] ?? NaN;
  return {
    path: `M${points.join('L')}`,
    ticks: places_of(low, high),
    marks: places_of(first, last).map(({ part, text }) => ({ part: 100 * part, text })),
    greatest: `${format_fixed(most, 0)}\u00a0m/s² at ${format_fixed(at_hz, 0)}\u00a0Hz`,
    damping: `Q = ${q}, damping ${format_fixed(50 / q, 0)}\u00a0%, ISO 18431-4`,
  };
}
