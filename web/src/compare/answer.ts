/** What the station answers when flights are compared (protocol/STREAM.md): checked, with NaN for no value. */
import type { Figure } from '../stream/flights';
import { number, object, text } from '../stream/json';
import { band, interval, list, maybe, numbers } from '../stream/json_lists';

export interface ComparedSeries {
  key: string;
  title: string;
  unit: string;
  t_s: readonly number[];
  /** Of each flight, in their order. */
  flights: readonly { value: readonly number[]; sigma: readonly number[] }[];
  mean: readonly number[];
  sd: readonly number[];
  /** 95 % of the mean. */
  interval: readonly [readonly number[], readonly number[]];
  minus_first: readonly (readonly number[])[];
  prediction: { value: readonly number[]; sigma: readonly number[] } | undefined;
  simulated: { value: readonly number[]; sigma: readonly number[] } | undefined;
}

export interface Outlier {
  flight: number;
  test: string;
  statistic: number;
  critical: number;
}

export interface ComparedFigure {
  key: string;
  title: string;
  unit: string;
  values: readonly Pick<Figure, 'value' | 'sigma'>[];
  n: number;
  mean: number;
  sd: number;
  interval: readonly [number, number];
  relative_spread: number;
  outliers: readonly Outlier[];
  /** Of each flight, outcome less what was predicted on the rail; NaN where nothing was. */
  less_predicted: readonly Pick<Figure, 'value' | 'sigma'>[];
}

export interface Trend {
  key: string;
  slope_per_day: number;
  /** Standard error. */
  slope_error: number;
  interval: readonly [number, number];
  n: number;
}

export interface Change {
  pointer: string;
  before: string;
  after: string;
}

export interface Comparison {
  flights: readonly { id: string; name: string; letter: string }[];
  series: readonly ComparedSeries[];
  figures: readonly ComparedFigure[];
  trend: readonly Trend[];
  changes: readonly { from: number; to: number; changes: readonly Change[] }[];
}

function read_series(value: unknown, path: string): ComparedSeries {
  const from = object(value, path);
  const line = (entry: unknown, at: string): { value: number[]; sigma: number[] } => {
    const one = object(entry, at);
    return { value: numbers(one, 'value', at), sigma: numbers(one, 'sigma', at) };
  };
  return {
    key: text(from, 'key', path),
    title: text(from, 'title', path),
    unit: text(from, 'unit', path, '1'),
    t_s: numbers(from, 't_s', path),
    flights: list(from, 'flights', path, line),
    mean: numbers(from, 'mean', path),
    sd: numbers(from, 'sd', path),
    interval: band(from['interval'], `${path}/interval`),
    minus_first: list(from, 'minus_first', path, (entry, at) => numbers({ entry }, 'entry', at)),
    prediction: maybe(from, 'prediction', path, line),
    simulated: maybe(from, 'simulated', path, line),
  };
}

function read_compared_figure(value: unknown, path: string): ComparedFigure {
  const from = object(value, path);
  const key = text(from, 'key', path);
  return {
    key,
    title: text(from, 'title', path, key),
    unit: text(from, 'unit', path, '1'),
    values: list(from, 'values', path, (entry, at) => {
      const one = object(entry ?? {}, at);
      return { value: number(one, 'value', at, NaN), sigma: number(one, 'sigma', at, NaN) };
    }),
    less_predicted: list(from, 'predictions', path, (entry, at) => {
      const one = object(entry ?? {}, at);
      return { value: number(one, 'minus', at, NaN), sigma: number(one, 'minus_sigma', at, NaN) };
    }),
    n: number(from, 'n', path, 0),
    mean: number(from, 'mean', path, NaN),
    sd: number(from, 'sd', path, NaN),
    interval: interval(from['interval'], `${path}/interval`),
    relative_spread: number(from, 'relative_spread', path, NaN),
    outliers: list(from, 'outliers', path, (entry, at) => {
      const one = object(entry, at);
      return {
        flight: number(one, 'flight', at),
        test: text(one, 'test', at),
        statistic: number(one, 'statistic', at, NaN),
        critical: number(one, 'critical', at, NaN),
      };
    }),
  };
}

/** A value of a vehicle file as it would stand there; nothing when it is not in it. */
const as_written = (value: unknown): string => (value === undefined || value === null ? '' : JSON.stringify(value));

export function read_comparison(value: unknown): Comparison {
  const from = object(value, 'comparison');
  return {
    flights: list(from, 'flights', 'comparison', (entry, at) => {
      const one = object(entry, at);
      return { id: text(one, 'id', at), name: text(one, 'name', at, ''), letter: text(one, 'letter', at, '') };
    }),
    series: list(from, 'series', 'comparison', read_series),
    figures: list(from, 'figures', 'comparison', read_compared_figure),
    trend: list(from, 'trend', 'comparison', (entry, at) => {
      const one = object(entry, at);
      return {
        key: text(one, 'key', at),
        slope_per_day: number(one, 'slope_per_day', at, NaN),
        slope_error: number(one, 'slope_error', at, NaN),
        interval: interval(one['interval'], `${at}/interval`),
        n: number(one, 'n', at, 0),
      };
    }),
    changes: list(from, 'changes', 'comparison', (entry, at) => {
      const one = object(entry, at);
      return {
        from: number(one, 'from', at),
        to: number(one, 'to', at),
        changes: list(one, 'changes', at, (change, where) => {
          const what = object(change, where);
          return {
            pointer: text(what, 'pointer', where),
            before: as_written(what['before']),
            after: as_written(what['after']),
          };
        }),
      };
    }),
  };
}
