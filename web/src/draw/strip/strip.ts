/** Draws one strip: rows of the tape on the window's time axis. */
import type { Series } from '../../stream/blocks';
import { page_now, type TapeSeconds } from '../../stream/clocks';
import { is_prediction, stale_after_s } from '../../tape/age';
import type { PhaseSpan } from '../../tape/events';
import type { FuturePoint } from '../../tape/flight/future';
import type { History } from '../../tape/history';
import type { Strip, Series as StripSeries } from '../../tape/strips';
import type { Tape, TableData } from '../../tape/tape';
import { shown_unit } from '../../text/units';
import type { Kept, Layer } from './kept';
import type { Palette } from '../palette';
import { write, type Pen } from '../pen';
import { draw_phases } from '../phases';
import { Raster } from './raster';
import { walk } from './rows';
import {
  draw_future,
  draw_gaps,
  draw_limits,
  draw_phase_names,
  draw_time_grid,
  kNoteType_px,
  type Frame,
} from './ground';
import { extent_of, scale_of, with_band, with_limits, type StripExtent, type StripScale } from './scale';
import { draw_words } from './words';
import { tick_words } from '../ticks';
import type { Window } from './window';

export interface StripScene {
  tape: Tape;
  history: History;
  strip: Strip;
  window: Window;
  phases: readonly PhaseSpan[];
  /** Names of phases are written on one strip only. */
  named: boolean;
  /** What the grid counts from. */
  zero_s: TapeSeconds;
  /** Of the first line, from now on; empty: not known. */
  future: readonly FuturePoint[];
  /** What the last painting of this strip left, and on a page the pixels of its lines. */
  kept: Kept;
  layer: Layer | undefined;
}

const kHalfApart_px = 0.45;
const kBandStep_px = 3;
const kInset_px = 5;
/** Of each line its own dash besides its colour, in pixels on and off. */
const kDashes: readonly (readonly [number, number])[] = [
  [1, 0],
  [8, 4],
  [3, 3],
  [5, 2],
];
const kBroken = [5, 5] as const;
const kSolid = [1, 0] as const;
const kNothing: StripExtent = { min: NaN, max: NaN };

const has_band = (series: StripSeries): boolean => series.sigma >= 0 || (series.low >= 0 && series.high >= 0);

/** Returns the least and greatest value seen in the window, in the unit of the column, for the text equivalent. */
export function draw_strip(pen: Pen, colours: Palette, width: number, height: number, scene: StripScene): StripExtent {
  const { tape, history, strip, window } = scene;
  const { from_s, span_s } = window;
  const x = (t_s: TapeSeconds): number => ((t_s - from_s) / span_s) * width;
  const frame: Frame = { pen, colours, width, height, window, x };
  draw_phases(pen, colours, scene.phases, x, tape.head_s, 0, height);
  draw_time_grid(frame, scene.zero_s);
  const end = (extent: StripExtent): StripExtent => {
    if (scene.named) draw_phase_names(frame, scene.phases, tape.head_s);
    return extent;
  };
  if (strip.words) {
    draw_words(frame, tape, history, strip);
    return end(kNothing);
  }
  const first = strip.series[0];
  const data = first && tape.tables[first.table];
  const column = data?.table.columns[first?.column ?? -1];
  if (!first || !data || !column) return end(kNothing);
  const { kept } = scene;
  const { bands_low, bands_high } = kept;
  const pixels = Math.max(1, Math.floor(width));
  const rides = tape.following && strip.series.every((one) => tape.tables[one.table]?.columns.covers(from_s));
  kept.begin(tape, window, pixels, rides, page_now());
  const drawn = strip.series.map((series, k) => raster_line(scene, series, k, pixels));
  const found = extent_of(drawn);
  if (found.min > found.max) {
    pen.font = `${kNoteType_px}px ${colours.font}`;
    pen.fillStyle = colours.muted;
    pen.textAlign = 'center';
    pen.textBaseline = 'middle';
    pen.fillText('no data in this window', width / 2, height / 2);
    return end(kNothing);
  }
  let room = found;
  strip.series.forEach((series, k) => {
    const [low_edge, high_edge] = [bands_low[k], bands_high[k]];
    if (has_band(series) && low_edge && high_edge) room = with_band(room, low_edge, high_edge);
  });
  const shown_future = scene.future.filter((point) => point.t_s <= from_s + span_s);
  for (const { value } of shown_future) room = { min: Math.min(room.min, value), max: Math.max(room.max, value) };
  const scale = scale_of(with_limits(room, strip.limits), column.decimals, shown_unit(strip.unit).gain);
  const y = (value: number): number =>
    height - kInset_px - ((value - scale.low) / (scale.high - scale.low)) * (height - 2 * kInset_px);

  if (!is_prediction(data.table))
    draw_gaps(
      frame,
      drawn,
      data.columns.find(from_s) >= 0,
      Math.min(tape.head_s, tape.cursor_s),
      stale_after_s(data.table),
    );
  const ticks = draw_ticks(frame, scale, y);
  draw_limits(frame, strip.limits, column.unit, y, scale.low, scale.high);
  // Dashes lie fast on the tape, not on the screen: they move with their line.
  const first_px = Math.round((from_s / span_s) * pixels);
  const draw_lines = (onto: Pen, from_px: number): void => {
    strip.series.forEach((series, k) => {
      const [low_edge, high_edge] = [bands_low[k], bands_high[k]];
      if (!has_band(series) || !low_edge || !high_edge) return;
      onto.fillStyle = colours.bands[k] ?? colours.rule;
      fill_band(onto, low_edge, high_edge, y, from_px);
    });
    for (let k = drawn.length - 1; k >= 0; k--) {
      const raster = drawn[k];
      if (!raster) continue;
      onto.strokeStyle = colours.series[k] ?? colours.ink;
      const dash = strip.series[k]?.broken ? kBroken : (kDashes[k] ?? kSolid);
      stroke_line(onto, raster, y, dash, from_px, first_px);
    }
  };
  if (scene.layer && 'drawImage' in pen)
    scene.layer.paint(
      pen as CanvasRenderingContext2D,
      kept,
      `${colours.version} ${scale.low} ${scale.high}`,
      width,
      height,
      draw_lines,
    );
  else draw_lines(pen, 0);
  if (shown_future.length > 1) draw_future(frame, shown_future, y);
  draw_tick_words(frame, ticks, scale.step, column.unit, y);
  if (drawn.length > 1) draw_line_names(frame, strip, drawn, y);
  return end(found);
}

/** Rasters what is new of a line and its band; gives the line's. */
function raster_line(
  { tape, history, window, kept }: StripScene,
  series: StripSeries,
  k: number,
  pixels: number,
): Raster {
  const raster = kept.lines[k] ?? new Raster();
  const { from_s, span_s } = window;
  kept.ready(raster);
  const data = tape.tables[series.table];
  if (!data) return raster;
  const past = history.window(data, from_s, from_s + span_s, pixels);
  walk(
    data,
    series.column,
    Math.max(from_s, kept.since_s),
    from_s + span_s,
    past,
    (t_s, low, high, gap_s) => {
      raster.add(t_s, low, gap_s);
      if (high !== low) raster.add(t_s, high, gap_s);
    },
    () => raster.break(),
  );
  if (has_band(series)) raster_band(data, series, k, kept, window, past);
  return raster;
}

/** Edges of the band of line k: the interval's columns where there are any, else the line with its 1-sigma on both sides. */
function raster_band(
  data: TableData,
  series: StripSeries,
  k: number,
  kept: Kept,
  { from_s, span_s }: Window,
  past: Series | undefined,
): void {
  const low_edge = kept.bands_low[k];
  const high_edge = kept.bands_high[k];
  if (!low_edge || !high_edge) return;
  kept.ready(low_edge);
  kept.ready(high_edge);
  const interval = series.low >= 0 && series.high >= 0;
  const rows = past?.rows ?? 0;
  const at = (column: number, row: number, bin: number, t_s: number, which: 'min' | 'max'): number => {
    if (row >= 0) return data.columns.value(column, row);
    return past
      ? (past[which][column * rows + bin] ?? NaN)
      : data.overview[which](column, Math.floor(t_s / data.overview.bin_s));
  };
  let i = 0;
  walk(
    data,
    series.column,
    Math.max(from_s, kept.since_s),
    from_s + span_s,
    past,
    (t_s, least, greatest, gap_s, row) => {
      const bin = row >= 0 ? -1 : i++;
      const sigma = interval ? 0 : at(series.sigma, row, bin, t_s, 'max');
      low_edge.add(t_s, interval ? at(series.low, row, bin, t_s, 'min') : least - sigma, gap_s);
      high_edge.add(t_s, interval ? at(series.high, row, bin, t_s, 'max') : greatest + sigma, gap_s);
    },
    () => {
      low_edge.break();
      high_edge.break();
    },
  );
}

/** Whether pixel column x has a part of the line. */
const drawn_at = (low: Raster, high: Raster, x: number): boolean =>
  !Number.isNaN(low.low[x] ?? NaN) && !Number.isNaN(high.high[x] ?? NaN);

/**
 * Two hairlines a pixel apart: browsers that draw in software take a tenth of the time that one line as thick takes, and
 * a third of what a rectangle for each pixel column takes.
 */
function stroke_line(
  pen: Pen,
  raster: Raster,
  y: (value: number) => number,
  [on, off]: readonly [number, number],
  from_px: number,
  first_px: number,
): void {
  pen.lineWidth = 1;
  pen.beginPath();
  for (const shift of [-kHalfApart_px, kHalfApart_px]) {
    let last = NaN;
    for (let x = from_px; x < raster.width; x++) {
      if ((first_px + x) % (on + off) >= on || !drawn_at(raster, raster, x)) {
        last = NaN;
        continue;
      }
      const top = y(raster.high[x] ?? 0) + shift;
      const bottom = y(raster.low[x] ?? 0) + shift;
      const from_top = Number.isNaN(last) || Math.abs(last - top) < Math.abs(last - bottom);
      const first = from_top ? top : bottom;
      const second = from_top ? bottom : top;
      if (Number.isNaN(last)) pen.moveTo(x, first);
      pen.lineTo(x + 0.5, first);
      if (second !== first) pen.lineTo(x + 0.5, second);
      last = second;
    }
  }
  pen.stroke();
}

/** Fills between two edges, coarser than the line: its extremes stay. */
function fill_band(pen: Pen, low: Raster, high: Raster, y: (value: number) => number, from_px: number): void {
  pen.beginPath();
  const tops: number[] = [];
  const bottoms: number[] = [];
  let begin = 0;
  const close = (end: number): void => {
    if (tops.length === 0) return;
    const at = (i: number): number => Math.min(end, begin + i * kBandStep_px);
    pen.moveTo(begin, tops[0] ?? 0);
    tops.forEach((top, i) => pen.lineTo(at(i), top));
    pen.lineTo(end, tops.at(-1) ?? 0);
    pen.lineTo(end, bottoms.at(-1) ?? 0);
    for (let i = bottoms.length - 1; i >= 0; i--) pen.lineTo(at(i), bottoms[i] ?? 0);
    pen.closePath();
    tops.length = bottoms.length = 0;
  };
  for (let x = from_px; x < low.width; x++) {
    if (!drawn_at(low, high, x)) {
      close(x);
      continue;
    }
    if (tops.length === 0) begin = x;
    const i = Math.floor((x - begin) / kBandStep_px);
    tops[i] = Math.min(tops[i] ?? Infinity, y(high.high[x] ?? 0));
    bottoms[i] = Math.max(bottoms[i] ?? -Infinity, y(low.low[x] ?? 0));
  }
  close(low.width);
  pen.fill();
}

function draw_ticks({ pen, colours, width }: Frame, scale: StripScale, y: (value: number) => number): number[] {
  const ticks: number[] = [];
  pen.fillStyle = colours.rule;
  for (let k = Math.ceil(scale.low / scale.step); k * scale.step <= scale.high + scale.step * 1e-9; k++) {
    ticks.push(k * scale.step);
    pen.fillRect(0, Math.round(y(k * scale.step)), width, 1);
  }
  return ticks;
}

function draw_tick_words(
  { pen, colours, height }: Frame,
  ticks: readonly number[],
  step: number,
  unit: string,
  y: (value: number) => number,
): void {
  pen.font = `${kNoteType_px}px ${colours.font}`;
  pen.textAlign = 'left';
  pen.textBaseline = 'middle';
  for (const tick of ticks) {
    const at = y(tick);
    if (at > 8 && at < height - 7) write(pen, tick_words(unit, tick, step), 4, at, colours.ink, colours.surface);
  }
}

/** Letters of the lines where each ends; longer names stand in the gutter only, beside their line's dash. */
function draw_line_names(frame: Frame, strip: Strip, drawn: readonly Raster[], y: (value: number) => number): void {
  const { pen, colours, height } = frame;
  const ends: { k: number; x: number; y: number; label: string }[] = [];
  drawn.forEach((raster, k) => {
    const label = strip.series[k]?.label ?? '';
    if (label.length !== 1) return;
    let x = raster.width - 1;
    while (x >= 0 && Number.isNaN(raster.low[x] ?? NaN)) x--;
    if (x < 0) return;
    const beyond = raster.width - x > 16; // room after the line's end
    const middle = y(((raster.low[x] ?? 0) + (raster.high[x] ?? 0)) / 2);
    ends.push({ k, x: beyond ? x + 9 : x - 9, y: beyond ? middle : middle - 9, label });
  });
  ends.sort((a, b) => a.y - b.y || a.k - b.k);
  const apart = 12;
  let floor = 8;
  for (const end of ends) {
    end.y = Math.max(end.y, floor);
    floor = end.y + apart;
  }
  let ceiling = height - 8;
  pen.font = `bold 12px ${colours.font}`;
  pen.textAlign = 'center';
  pen.textBaseline = 'middle';
  for (const end of ends.toReversed()) {
    end.y = Math.min(end.y, ceiling);
    ceiling = end.y - apart;
    write(pen, end.label, end.x, end.y, colours.series[end.k] ?? colours.ink, colours.surface);
  }
}
