/** How high a strip reaches: its lines, their bands, and the limits near them. Pure but for its scratch space. */
import type { Limit } from '../../stream/description';
import type { Raster } from './raster';
import { nice_step } from '../ticks';

export interface StripExtent {
  min: number;
  max: number;
}

export interface StripScale {
  low: number;
  high: number;
  step: number;
}

const kFarBand = 4; // a band this many times as wide as it mostly is makes no room for itself
const kNearLimit = 0.25; // of the greatest value: what is this near belongs into the picture

let widths = new Float64Array(0);

export function extent_of(lines: readonly Raster[]): StripExtent {
  let min = Infinity;
  let max = -Infinity;
  for (const raster of lines) {
    for (let x = 0; x < raster.width; x++) {
      const low = raster.low[x] ?? NaN;
      const high = raster.high[x] ?? NaN;
      if (low < min) min = low;
      if (high > max) max = high;
    }
  }
  return { min, max };
}

/** Makes room for a band, except where it is far wider than usual: a filter's first guess must not flatten the rest. */
export function with_band(extent: StripExtent, low_edge: Raster, high_edge: Raster): StripExtent {
  let { min, max } = extent;
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
    if (high - low > kFarBand * usual) continue;
    if (low < min) min = low;
    if (high > max) max = high;
  }
  return { min, max };
}

/** Makes room for limits that are near: how much is left to them is what they are drawn for. */
export function with_limits(extent: StripExtent, limits: readonly Limit[]): StripExtent {
  let { min, max } = extent;
  const reach = kNearLimit * Math.max(Math.abs(min), Math.abs(max));
  for (const { value, level } of limits) {
    if (level === 'valid') continue;
    if (value < min && min - value <= reach) min = value;
    if (value > max && value - max <= reach) max = value;
  }
  return { min, max };
}

/** Round values around the data, never narrower than a few of the last digit: noise stays looking like noise. `gain`: of the unit that is shown. */
export function scale_of(extent: StripExtent, decimals: number, gain = 1): StripScale {
  const least = 8 * 10 ** -decimals;
  let { min, max } = extent;
  if (max - min < least) {
    const middle = (min + max) / 2;
    min = middle - least / 2;
    max = middle + least / 2;
  }
  const pad = (max - min) * 0.06;
  const step = nice_step((max - min + 2 * pad) * gain, 3) / gain;
  const part = step / 5;
  return { low: Math.floor((min - pad) / part) * part, high: Math.ceil((max + pad) / part) * part, step };
}
