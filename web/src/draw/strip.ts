/** Draws one strip: rows of the tape on the window's time axis. Rasters are scratch space shared by all strips. */
import { format_fixed } from '../text/format';
import type { Series } from '../stream/blocks';
import type { TapeSeconds } from '../stream/clocks';
import type { History } from '../tape/history';
import { kSeriesMax, type Strip, type Series as StripSeries } from '../tape/strips';
import type { Tape, TableData } from '../tape/tape';
import { zero_of } from '../tape/zero';
import { shown_unit } from '../text/units';
import { kChain, palette, type Palette } from './palette';
import { draw_phases } from './phases';
import { Raster } from './raster';
import { walk } from './rows';
import { draw_words } from './strip_words';
import type { Surface } from './surface';
import { nice_step, step_decimals, time_step_s } from './ticks';

export interface StripExtent {
  min: number;
  max: number;
}

const lines = Array.from({ length: kSeriesMax }, () => new Raster());
const bands_low = Array.from({ length: kSeriesMax }, () => new Raster());
const bands_high = Array.from({ length: kSeriesMax }, () => new Raster());
let widths = new Float64Array(0);
const kLineWidth = 1.6;
const kDash = 10;

function extent_of(strip: Strip): StripExtent {
  let min = Infinity;
  let max = -Infinity;
  strip.series.forEach((_, k) => {
    const raster = lines[k];
    for (let x = 0; raster && x < raster.width; x++) {
      const low = raster.low[x] ?? NaN;
      const high = raster.high[x] ?? NaN;
      if (low < min) min = low;
      if (high > max) max = high;
    }
  });
  return { min, max };
}

const has_band = (series: StripSeries): boolean => series.sigma >= 0 || (series.low >= 0 && series.high >= 0);

/** Edges of the band of line k: the interval's columns where there are any, else the line with its 1-sigma on both sides. */
function raster_band(
  data: TableData,
  series: StripSeries,
  k: number,
  pixels: number,
  tape: Tape,
  past: Series | undefined,
): void {
  const low_edge = bands_low[k];
  const high_edge = bands_high[k];
  if (!low_edge || !high_edge) return;
  low_edge.begin(pixels, tape.from_s, tape.span_s);
  high_edge.begin(pixels, tape.from_s, tape.span_s);
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
    tape.from_s,
    tape.to_s,
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

/** Makes room for bands, except where one is far wider than it mostly is: a filter's first guess must not flatten the rest. */
function with_bands(extent: StripExtent, strip: Strip): StripExtent {
  let { min, max } = extent;
  strip.series.forEach((series, k) => {
    const low_edge = bands_low[k];
    const high_edge = bands_high[k];
    if (!has_band(series) || !low_edge || !high_edge) return;
    if (widths.length < low_edge.width) widths = new Float64Array(low_edge.width);
    let count = 0;
    for (let x = 0; x < low_edge.width; x++) {
      const width = (high_edge.high[x] ?? NaN) - (low_edge.low[x] ?? NaN);
      if (Number.isFinite(width)) widths[count++] = width;
    }
    const usual = widths.subarray(0, count).sort()[count >> 1] ?? 0;
    for (let x = 0; x < low_edge.width; x++) {
      const low = low_edge.low[x] ?? NaN;
      const high = high_edge.high[x] ?? NaN;
      if (high - low > 4 * usual) continue;
      if (low < min) min = low;
      if (high > max) max = high;
    }
  });
  return { min, max };
}

/** Limits on round values around the data, never narrower than a few of the last digit: noise stays looking like noise. */
function limits(extent: StripExtent, decimals: number): { low: number; high: number; step: number } {
  const least = 8 * 10 ** -decimals;
  let { min, max } = extent;
  if (max - min < least) {
    const middle = (min + max) / 2;
    min = middle - least / 2;
    max = middle + least / 2;
  }
  const pad = (max - min) * 0.06;
  const step = nice_step(max - min + 2 * pad, 3);
  const part = step / 5;
  return { low: Math.floor((min - pad) / part) * part, high: Math.ceil((max + pad) / part) * part, step };
}

function fill_columns(
  context: CanvasRenderingContext2D,
  low: Raster,
  high: Raster,
  y: (value: number) => number,
  grow: number,
  broken = false,
): void {
  for (let x = 0; x < low.width; x++) {
    if (broken && x % kDash >= kDash / 2) continue;
    const bottom = low.low[x] ?? NaN;
    const top = high.high[x] ?? NaN;
    if (Number.isNaN(bottom) || Number.isNaN(top)) continue;
    const y_top = y(top) - grow;
    context.fillRect(x, y_top, 1, y(bottom) + grow - y_top);
  }
}

function draw_time_grid(
  context: CanvasRenderingContext2D,
  colours: Palette,
  width: number,
  height: number,
  tape: Tape,
  zero_s: number,
): void {
  const step = time_step_s(tape.span_s, width / 110);
  context.fillStyle = colours.rule;
  for (let k = Math.ceil((tape.from_s - zero_s) / step); zero_s + k * step <= tape.to_s; k++) {
    context.fillRect(Math.round(((zero_s + k * step - tape.from_s) / tape.span_s) * width), 0, 1, height);
  }
}

/** Returns the least and greatest value seen in the window, in the unit of the column, for the text equivalent. */
export function draw_strip(surface: Surface, tape: Tape, history: History, strip: Strip, vehicle: number): StripExtent {
  const context = surface.begin();
  const colours = palette();
  const { width, height } = surface;
  const pixels = Math.max(1, Math.floor(width));
  const from_s = tape.from_s;
  const to_s = tape.to_s;
  context.font = `11px ${colours.font}`;
  const x = (t_s: TapeSeconds): number => ((t_s - from_s) / tape.span_s) * width;
  draw_phases(context, colours, tape.log.phases(vehicle), x, tape.head_s, 0, height);
  draw_time_grid(context, colours, width, height, tape, zero_of(tape, vehicle).t_s);
  if (strip.words) {
    draw_words(context, colours, surface, tape, history, strip);
    return { min: NaN, max: NaN };
  }

  const first = strip.series[0];
  const column = first && tape.tables[first.table]?.table.columns[first.column];
  if (!first || !column) return { min: NaN, max: NaN };
  strip.series.forEach((series, k) => {
    const data = tape.tables[series.table];
    const raster = lines[k];
    if (!data || !raster) return;
    raster.begin(pixels, from_s, to_s - from_s);
    const past = history.window(data, from_s, to_s, pixels);
    walk(
      data,
      series.column,
      from_s,
      to_s,
      past,
      (t_s, low, high, gap_s) => {
        raster.add(t_s, low, gap_s);
        if (high !== low) raster.add(t_s, high, gap_s);
      },
      () => raster.break(),
    );
  });
  const extent = extent_of(strip);
  strip.series.forEach((series, k) => {
    const data = tape.tables[series.table];
    if (data && has_band(series))
      raster_band(data, series, k, pixels, tape, history.window(data, from_s, to_s, pixels));
  });
  if (extent.min > extent.max) {
    context.fillStyle = colours.muted;
    context.textAlign = 'center';
    context.fillText('no data in this window', width / 2, height / 2 + 4);
    return { min: NaN, max: NaN };
  }
  const { low, high, step } = limits(with_bands(extent, strip), column.decimals);
  const inset = 4;
  const scale = (height - 2 * inset) / (high - low);
  const y = (value: number): number => height - inset - (value - low) * scale;

  draw_range(context, colours, column.range, low, high, y, width, height);
  context.fillStyle = colours.rule;
  const ticks: number[] = [];
  for (let k = Math.ceil(low / step); k * step <= high + step * 1e-9; k++) {
    ticks.push(k * step);
    context.fillRect(0, Math.round(y(k * step)), width, 1);
  }
  strip.series.forEach((series, k) => {
    const low_edge = bands_low[k];
    const high_edge = bands_high[k];
    if (!has_band(series) || !low_edge || !high_edge) return;
    context.fillStyle = colours.bands[k] ?? colours.rule;
    fill_columns(context, low_edge, high_edge, y, 0);
  });
  for (let k = strip.series.length - 1; k >= 0; k--) {
    const raster = lines[k];
    if (!raster) continue;
    context.fillStyle = colours.series[k] ?? colours.ink;
    fill_columns(context, raster, raster, y, kLineWidth / 2, strip.series[k]?.broken);
  }
  draw_labels(context, colours, strip, ticks, step, column.unit, y, width, height);
  return extent;
}

/** Outside the valid range: a tint and a chain line, so that it does not rest on colour alone. */
function draw_range(
  context: CanvasRenderingContext2D,
  colours: Palette,
  range: readonly [number, number] | null,
  low: number,
  high: number,
  y: (value: number) => number,
  width: number,
  height: number,
): void {
  if (!range) return;
  context.strokeStyle = colours.limit;
  context.lineWidth = 1.5;
  context.setLineDash([...kChain]);
  const limit = (value: number, from: number, to: number): void => {
    context.fillStyle = colours.range;
    context.fillRect(0, Math.min(from, to), width, Math.abs(to - from));
    context.beginPath();
    context.moveTo(0, Math.round(y(value)) + 0.5);
    context.lineTo(width, Math.round(y(value)) + 0.5);
    context.stroke();
  };
  if (range[1] < high) limit(range[1], 0, y(Math.max(range[1], low)));
  if (range[0] > low) limit(range[0], y(Math.min(range[0], high)), height);
  context.setLineDash([]);
}

/** Axis labels at the left, names of the lines at the right where each ends. */
function draw_labels(
  context: CanvasRenderingContext2D,
  colours: Palette,
  strip: Strip,
  ticks: readonly number[],
  step: number,
  unit: string,
  y: (value: number) => number,
  width: number,
  height: number,
): void {
  const shown = shown_unit(unit);
  const shown_step = step * shown.gain;
  const decimals = Math.min(6, step_decimals(shown_step));
  context.textBaseline = 'middle';
  context.textAlign = 'left';
  context.lineWidth = 3;
  context.lineJoin = 'round';
  context.strokeStyle = colours.surface;
  const write = (text: string, x: number, at: number): void => {
    context.strokeText(text, x, at);
    context.fillText(text, x, at);
  };
  context.fillStyle = colours.muted;
  context.font = `10.5px ${colours.font}`;
  for (const tick of ticks) {
    const at = y(tick);
    if (at > 14 && at < height - 2) write(format_fixed(tick * shown.gain + shown.offset, decimals), 6, at - 7);
  }
  if (strip.series.length < 2) return;
  context.textAlign = 'center';
  context.font = `bold 11px ${colours.font}`;
  const ends: { k: number; x: number; y: number; label: string }[] = [];
  strip.series.forEach((series, k) => {
    const raster = lines[k];
    if (!raster || series.label.length !== 1) return; // longer names stand in the gutter only, beside their line's pattern
    let x = raster.width - 1;
    while (x >= 0 && Number.isNaN(raster.low[x] ?? NaN)) x--;
    if (x < 0) return;
    const beyond = width - x > 16; // room after the line's end
    const middle = y(((raster.low[x] ?? 0) + (raster.high[x] ?? 0)) / 2);
    ends.push({ k, x: beyond ? x + 9 : x - 9, y: beyond ? middle : middle - 9, label: series.label });
  });
  ends.sort((a, b) => a.y - b.y || a.k - b.k);
  const line_height = 12;
  let floor = 8;
  for (const end of ends) {
    end.y = Math.max(end.y, floor);
    floor = end.y + line_height;
  }
  let ceiling = height - 8;
  for (const end of ends.toReversed()) {
    end.y = Math.min(end.y, ceiling);
    ceiling = end.y - line_height;
    context.fillStyle = colours.series[end.k] ?? colours.ink;
    write(end.label, end.x, end.y);
  }
}
