/** Checks that turn `unknown` into what a message should hold, or name the member that is wrong. */
import type { UtcMs } from './clocks';

/** What was wrong in a message, with the path to the member. */
export class MessageError extends Error {
  override name = 'MessageError';
}

export type Json = Readonly<Record<string, unknown>>;

export function fail(path: string, wanted: string, value: unknown): never {
  const got = value === null ? 'null' : Array.isArray(value) ? 'an array' : typeof value;
  throw new MessageError(`${path}: expected ${wanted}, got ${got}`);
}

export function object(value: unknown, path: string): Json {
  if (typeof value !== 'object' || value === null || Array.isArray(value)) fail(path, 'an object', value);
  return value as Json;
}

export function array(value: unknown, path: string): unknown[] {
  if (!Array.isArray(value)) fail(path, 'an array', value);
  return value;
}

export function text(from: Json, name: string, path: string, fallback?: string): string {
  const value = from[name];
  if (typeof value === 'string') return value;
  if (value === undefined && fallback !== undefined) return fallback;
  return fail(`${path}/${name}`, 'a text', value);
}

/** A number; `null` is NaN. */
export function number(from: Json, name: string, path: string, fallback?: number): number {
  const value = from[name];
  if (typeof value === 'number') return value;
  if (value === null) return NaN;
  if (value === undefined && fallback !== undefined) return fallback;
  return fail(`${path}/${name}`, 'a number or null', value);
}

export function flag(from: Json, name: string, path: string, fallback?: boolean): boolean {
  const value = from[name];
  if (typeof value === 'boolean') return value;
  if (value === undefined && fallback !== undefined) return fallback;
  return fail(`${path}/${name}`, 'true or false', value);
}

export function one_of<T extends string>(from: Json, name: string, path: string, allowed: readonly T[]): T {
  const value = from[name];
  const found = allowed.find((word) => word === value);
  return found ?? fail(`${path}/${name}`, `one of ${allowed.join(', ')}`, value);
}

/** Names with their texts. */
export function texts(value: unknown, path: string): Map<string, string> {
  const from = object(value, path);
  return new Map(Object.keys(from).map((name) => [name, text(from, name, path)]));
}

/** Nanoseconds since 1970 as a decimal string, to milliseconds (a double holds them exactly enough for a clock). */
export function utc_ms(from: Json, name: string, path: string): UtcMs {
  const value = from[name];
  if (typeof value !== 'string' || !/^-?\d{1,19}$/.test(value)) fail(`${path}/${name}`, 'nanoseconds as text', value);
  return Number(BigInt(value as string) / 1000n) / 1000;
}
