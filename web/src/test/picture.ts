/** The picture of a charge: what moved, pressed, turned and sagged around its firing, on one axis of milliseconds. */
import type { TapeSeconds } from '../stream/clocks';
import type { Series } from '../stream/blocks';
import type { Column } from '../stream/description';
import { Raster } from '../draw/strip/raster';
import { kBoxHeight, path_of } from '../draw/trace';
import { nice_step, step_decimals } from '../draw/ticks';
import { scale_of as unit_of } from '../checks/figures';
import { find_role, type ColumnRef } from '../tape/roles';
import type { Tape } from '../tape/tape';
import { format_fixed } from '../text/format';
import { rounded_number } from '../text/rounding';
import type { Charge, Limit } from './charge';

export interface Window {
  from_ms: number;
  to_ms: number;
}

/** What is drawn: the channel sampled fast around the firing where there is one, else the ordinary one. */
interface Subject {
  roles: readonly string[];
  /** Which value of it stands beside the line. */
  figure: 'greatest' | 'least';
  /** Drawn, as the figure and its limit are, as the change from before the firing. */
  change: boolean;
}
const kSubjects: readonly Subject[] = [
  { roles: ['charge_accel_x', 'accel_body_x'], figure: 'greatest', change: true },
  { roles: ['charge_bay_pressure', 'static_pressure'], figure: 'greatest', change: true },
  { roles: ['charge_turn_rate', 'rate_body_y'], figure: 'greatest', change: true },
  { roles: ['charge_battery', 'battery_voltage'], figure: 'least', change: false },
];

export interface Subjects {
  ref: ColumnRef;
  column: Column;
  subject: Subject;
}

export function subjects_of(tape: Tape, vehicle: number): Subjects[] {
  return kSubjects.flatMap((subject) => {
    for (const role of subject.roles) {
      const ref = find_role(tape.description, role, vehicle);
      const column = ref?.table.columns[ref.column];
      if (ref && column) return [{ ref, column, subject }];
    }
    return [];
  });
}

export const kBefore_ms = 20;
const kAfterLeast_ms = 160;
const kAfterMost_ms = 400;
const kPastEdges = 1.2;

/** From a little before the firing until a little after the last edge. What takes its time to come back is left out. */
export function window_of(charge: Charge): Window {
  const ends_ms = charge.edges.map((edge) => kPastEdges * edge.after_ms).filter((ms) => ms < kAfterMost_ms);
  return { from_ms: -kBefore_ms, to_ms: Math.max(kAfterLeast_ms, ...ends_ms) };
}

/** Rows of one column around a firing. */
export interface Points {
  ms: number[];
  values: number[];
}

/** Those that the page holds or, where the server sent more of them, the server's. None from after the cursor. */
export function points_of(
  tape: Tape,
  ref: ColumnRef,
  series: Series | undefined,
  fired_s: TapeSeconds,
  { from_ms, to_ms }: Window,
): Points {
  const from_s = fired_s + from_ms / 1000;
  const to_s = Math.min(tape.cursor_s, fired_s + to_ms / 1000);
  const own: Points = { ms: [], values: [] };
  const columns = tape.tables[ref.table.id]?.columns;
  if (columns)
    for (let i = columns.find(from_s) + 1; i < columns.count && columns.time(i) <= to_s; i++) {
      own.ms.push(1000 * (columns.time(i) - fired_s));
      own.values.push(columns.value(ref.column, i));
    }
  if (!series) return own;
  const sent: Points = { ms: [], values: [] };
  for (let i = 0; i < series.rows; i++) {
    const t_s = series.t_s[i] ?? NaN;
    if (!(t_s >= from_s && t_s <= to_s)) continue;
    sent.ms.push(1000 * (t_s - fired_s));
    sent.values.push(series.mean[ref.column * series.rows + i] ?? NaN);
  }
  return sent.ms.length > own.ms.length ? sent : own;
}

export interface Line {
  title: string;
  unit: string;
  /** The value that stands beside the line, and when. */
  figure: string;
  at: string;
  path: string;
  /** Heights in percent from the bottom, with their words. */
  ticks: readonly { part: number; text: string }[];
  limit: { part: number; text: string } | undefined;
  /** Value at a moment, with its unit; empty where there is none. */
  value_at(ms: number): string;
}

const kWidth = 600;
const kGap_ms = 60;
const kTicks = 2.5;
const kPad = 0.08;

/** `of_figure`: the limit of the figure's size, in the unit of the charge's table. */
export function line_of(
  { column: channel, subject }: Subjects,
  points: Points,
  window: Window,
  of_figure: Limit | undefined,
): Line {
  // The charge's table has turn rates in degrees per second.
  const turns = channel.unit === 'rad/s';
  const turned = turns ? 180 / Math.PI : 1;
  const column = turns ? { ...channel, unit: 'deg/s', decimals: Math.max(0, channel.decimals - 2) } : channel;
  const base = subject.change ? mean(points.values.filter((_, i) => (points.ms[i] ?? 0) < 0)) : 0;
  const values = points.values.map((value) => turned * (value - (Number.isFinite(base) ? base : 0)));
  const finite = values.filter(Number.isFinite);
  const found = extreme(values, points.ms, subject.figure);
  const limit = (of_figure?.value ?? NaN) * (subject.figure === 'greatest' && found.value < 0 ? -1 : 1);
  const size = Math.max(...finite.map(Math.abs), 0);
  const { symbol, gain, decimals } = unit_of(column, size);
  const shown = (value: number): string => format_fixed(value * gain, decimals);
  let low = Math.min(...finite);
  let high = Math.max(...finite);
  const near =
    Number.isFinite(limit) &&
    finite.length > 0 &&
    Math.abs(limit - found.value) <= Math.max(Math.abs(found.value), high - low);
  if (near) [low, high] = [Math.min(low, limit), Math.max(high, limit)];
  if (!(high > low)) [low, high] = [low - 1, low + 1];
  const room = (high - low) * kPad;
  [low, high] = [low - room, high + room];
  const part = (value: number): number => (value - low) / (high - low);
  const step = nice_step((high - low) * gain, kTicks);
  const ticks = [];
  for (let k = Math.ceil((low * gain) / step); k * step <= high * gain; k++)
    ticks.push({ part: part((k * step) / gain), text: format_fixed(k * step, step_decimals(step)) });
  const raster = new Raster();
  raster.begin(kWidth, window.from_ms, window.to_ms - window.from_ms);
  points.ms.forEach((ms, i) => raster.add(ms, values[i] ?? NaN, kGap_ms));
  return {
    title: subject.change ? `${column.title}, change` : column.title,
    unit: symbol,
    figure: shown(found.value),
    at: Number.isFinite(found.ms)
      ? `${subject.figure === 'least' ? 'least, ' : ''}at ${format_fixed(found.ms, 1)}\u00a0ms`
      : '',
    path: finite.length > 0 ? path_of(raster, (value) => kBoxHeight * (1 - part(value))) : '',
    ticks,
    limit: near
      ? {
          part: part(limit),
          text: `${of_figure?.is_least ? 'least' : 'most'} ${format_fixed(Math.abs(limit) * gain, decimals).replace(/(\.\d*[1-9])0+$|\.0+$/, '$1')}\u00a0${symbol}`,
        }
      : undefined,
    value_at: (ms) => {
      const i = points.ms.findLastIndex((one) => one <= ms);
      const value = values[i] ?? NaN;
      return i >= 0 && Number.isFinite(value) && ms - (points.ms[i] ?? NaN) <= kGap_ms
        ? `${shown(value)}\u00a0${symbol}`
        : '';
    },
  };
}

const mean = (values: readonly number[]): number => values.reduce((sum, value) => sum + value, 0) / values.length;

/** The greatest in size, or the least. */
function extreme(
  values: readonly number[],
  ms: readonly number[],
  which: Subject['figure'],
): { value: number; ms: number } {
  let best = { value: NaN, ms: NaN };
  values.forEach((value, i) => {
    if (!Number.isFinite(value) || (ms[i] ?? NaN) < 0) return;
    const better = which === 'least' ? value < best.value : Math.abs(value) > Math.abs(best.value);
    if (Number.isNaN(best.value) || better) best = { value, ms: ms[i] ?? NaN };
  });
  return best;
}

/** Whole steps of the axis inside a window. */
export function axis_ms({ from_ms, to_ms }: Window): number[] {
  const step = nice_step(to_ms - from_ms, 5);
  const marks = [];
  for (let k = Math.ceil(from_ms / step); k * step <= to_ms; k++) marks.push(k * step + 0);
  return marks;
}

/** "18.6 ± 0.5". */
export function edge_words(after_ms: number, sigma_ms: number): string {
  const { text, sigma } = rounded_number(after_ms, sigma_ms, 1);
  return sigma === '' ? text : `${text} ${sigma}`;
}
