/** Lists and bands of answers that only the debrief's views read. */
import { array, fail, type Json } from './json';

/** A list of numbers; `null` is NaN. */
export function numbers(from: Json, name: string, path: string): number[] {
  return array(from[name] ?? [], `${path}/${name}`).map((value, i) => {
    if (value !== null && typeof value !== 'number') fail(`${path}/${name}/${i}`, 'a number or null', value);
    return value === null ? NaN : (value as number);
  });
}

/** The members of a list, as `read` makes them; none when there is no list. */
export function list<T>(from: Json, name: string, path: string, read: (entry: unknown, at: string) => T): T[] {
  return array(from[name] ?? [], `${path}/${name}`).map((entry, i) => read(entry, `${path}/${name}/${i}`));
}

/** What `read` makes of a member; undefined when it is `null` or left out. */
export function maybe<T>(
  from: Json,
  name: string,
  path: string,
  read: (value: unknown, at: string) => T,
): T | undefined {
  const value = from[name];
  return value === null || value === undefined ? undefined : read(value, `${path}/${name}`);
}

/** A low and a high line, `[[lo...], [hi...]]`; empty lines when there are none. */
export function band(value: unknown, path: string): [number[], number[]] {
  const [low, high] = array(value ?? [[], []], path);
  return [numbers({ low }, 'low', path), numbers({ high }, 'high', path)];
}

/** `[lo, hi]`; not numbers when there is none. */
export function interval(value: unknown, path: string): [number, number] {
  const [low = NaN, high = NaN] = numbers({ of: value ?? [] }, 'of', path);
  return [low, high];
}
