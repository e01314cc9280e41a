/**
 * What a chart of the debrief shows, and the options for uPlot that make it look like the strips: words of the scale
 * inside the paper, grid as hairlines, bands under their lines, no legend, no box.
 */
import uPlot from 'uplot';
import type { Palette } from '../draw/palette';
import { nice_step, step_decimals } from '../draw/ticks';
import { format_fixed } from '../text/format';
import { raised } from '../text/units';

export interface ChartLine {
  /** Place of its values in the data; its x values are the chart's. NaN: no value. */
  values: readonly number[];
  /** 1 to 4: of the tokens' series; 0: ink; -1: a limit. */
  colour: number;
  dash: readonly number[];
  width?: number;
  /** Only marks, no line between them. */
  points?: boolean;
  /** Low and high edge of the band around it. */
  band?: readonly [readonly number[], readonly number[]];
}

export interface ChartScale {
  unit: string;
  log: boolean;
  /** The least that is shown, so that noise does not look like news; 0: whatever there is. */
  least: number;
}

export interface ChartAxis {
  log: boolean;
  /** Positions of words along the foot, and the words. */
  words(value: number): string;
  steps(low: number, high: number, count: number): number[];
}

const kPixelsAcross = 110; // a word and its room
const kPixelsUp = 34;
const kFoot_px = 24;

export const colour_of = (colours: Palette, colour: number): string =>
  colour === 0 ? colours.ink : colour < 0 ? colours.limit : (colours.series[colour - 1] ?? colours.ink);

/** How many steps there is room for; five leave two round values in any range, so that the scale can be read. */
export const steps_up = (height_px: number): number => Math.max(5, Math.floor(height_px / kPixelsUp));

/** Round values from low to high, at most `count` steps. */
export function even_steps(low: number, high: number, count: number): number[] {
  const step = nice_step(high - low, Math.max(1, count));
  const first = Math.ceil(low / step - 1e-9);
  const last = Math.floor(high / step + 1e-9);
  return Array.from({ length: Math.max(0, Math.min(200, last - first + 1)) }, (_, i) => (first + i) * step);
}

/** Powers of ten between low and high, with 2 and 5 where there is room. */
export function decades(low: number, high: number, count: number): number[] {
  if (!(low > 0) || !(high > low)) return [];
  const [from, to] = [Math.floor(Math.log10(low)), Math.ceil(Math.log10(high))];
  const all = (parts: readonly number[], every: number): number[] =>
    Array.from({ length: to - from + 1 }, (_, i) => from + i)
      .filter((power) => power % every === 0)
      .flatMap((power) => parts.map((part) => part * 10 ** power))
      .filter((value) => value >= low * (1 - 1e-9) && value <= high * (1 + 1e-9));
  const fine = all([1, 2, 5], 1);
  if (fine.length <= count) return fine;
  return all([1], Math.max(1, Math.ceil((to - from) / Math.max(1, count))));
}

/** A value of a scale whose words are `step` apart. */
export const scale_words = (value: number, step: number): string =>
  format_fixed(value, Math.min(6, step_decimals(step)));

/** "1000", "0.01", "10⁻⁶" where digits would be many. */
export function decade_words(value: number): string {
  const power = Math.log10(value);
  if (Math.abs(power) < 4) return String(Number(value.toPrecision(1)));
  const whole = Math.floor(power + 1e-9);
  const part = Math.round(value / 10 ** whole);
  const power_of_ten = `10${raised(String(whole))}`;
  return part === 1 ? power_of_ten : `${part}·${power_of_ten}`;
}

/** Lowest and highest of what is to be seen, with a little room; of a logarithmic scale above zero. */
export function range_of(lines: readonly ChartLine[], { log, least }: ChartScale): [number, number] {
  let [low, high] = [Infinity, -Infinity];
  for (const { values, band } of lines)
    for (const part of band ? [values, ...band] : [values])
      for (const value of part) {
        if (!Number.isFinite(value) || (log && !(value > 0))) continue;
        if (value < low) low = value;
        if (value > high) high = value;
      }
  if (low > high) return log ? [0.1, 1] : [0, 1];
  if (log) return [low / 1.3, high * 1.3];
  const room = Math.max(high - low, least, 1e-9 * Math.abs(high), 1e-12);
  const middle = (low + high) / 2;
  return [middle - 0.54 * room, middle + 0.54 * room];
}

const gaps = (values: readonly number[]): (number | null)[] =>
  values.map((value) => (Number.isFinite(value) ? value : null));

/** Columns for uPlot: x, then each line, with its band's edges behind it. */
export function chart_data(x: readonly number[], lines: readonly ChartLine[]): uPlot.AlignedData {
  const columns = lines.flatMap(({ values, band }) => [values, ...(band ?? [])].map(gaps));
  return [[...x], ...columns] as uPlot.AlignedData;
}

export interface ChartLook {
  lines: readonly ChartLine[];
  scale: ChartScale;
  axis: ChartAxis;
  /** Whether words stand along the foot: of charts under one another only the lowest has them. */
  foot: boolean;
  colours: Palette;
  width: number;
  height: number;
  text_px: number;
  on_zoom: (low: number, high: number) => void;
  on_look: (x: number) => void;
}

function series_of({ lines, colours }: ChartLook): { series: uPlot.Series[]; bands: uPlot.Band[] } {
  const series: uPlot.Series[] = [{}];
  const bands: uPlot.Band[] = [];
  for (const { colour, dash, width = 2, points = false, band } of lines) {
    const stroke = colour_of(colours, colour);
    const own = series.push({
      stroke,
      width: points ? 0 : width,
      dash: [...dash],
      spanGaps: false,
      points: { show: points, size: 7, stroke, fill: colours.surface, width: 1.5 },
    });
    if (!band) continue;
    const edge: uPlot.Series = { width: 0, points: { show: false } };
    series.push(edge, edge);
    bands.push({ series: [own + 1, own], fill: colours.bands[Math.max(0, colour - 1)] ?? colours.range });
  }
  return { series, bands };
}

/** Words of the scale, on the paper at its left edge: the curve has the whole width. */
function write_scale(plot: uPlot, look: ChartLook): void {
  const { ctx, bbox } = plot;
  const [low = 0, high = 1] = [plot.scales['y']?.min ?? 0, plot.scales['y']?.max ?? 1];
  const ratio = uPlot.pxRatio;
  const count = steps_up(bbox.height / ratio);
  const values = look.scale.log ? decades(low, high, count) : even_steps(low, high, count);
  const step = nice_step(high - low, count);
  ctx.save();
  ctx.font = `${look.text_px * ratio}px ${look.colours.font}`;
  ctx.textAlign = 'left';
  ctx.textBaseline = 'middle';
  for (const value of values) {
    const y = plot.valToPos(value, 'y', true);
    if (y < bbox.top + 6 * ratio || y > bbox.top + bbox.height - 6 * ratio) continue;
    const words = look.scale.log ? decade_words(value) : scale_words(value, step);
    const text = look.scale.unit === '' ? words : `${words}${look.scale.unit === '°' ? '' : ' '}${look.scale.unit}`;
    // On a plate, so that a line at a round value does not strike it out.
    ctx.fillStyle = look.colours.surface;
    const wide = ctx.measureText(text).width + 4 * ratio;
    ctx.fillRect(bbox.left + 2 * ratio, y - 0.6 * look.text_px * ratio, wide, 1.2 * look.text_px * ratio);
    ctx.fillStyle = look.colours.ink;
    ctx.fillText(text, bbox.left + 4 * ratio, y);
  }
  ctx.restore();
}

/** The words at `x` along the foot, or none where the edge would cut them. */
function whole_words(plot: uPlot, x: number, { axis, colours, text_px }: ChartLook): string {
  const { ctx, bbox } = plot;
  const words = axis.words(x);
  ctx.font = `${text_px * uPlot.pxRatio}px ${colours.font}`;
  const half = ctx.measureText(words).width / 2;
  const at = plot.valToPos(x, 'x', true);
  return at - half >= bbox.left && at + half <= bbox.left + bbox.width ? words : '';
}

export function chart_options(look: ChartLook): uPlot.Options {
  const { axis, colours, foot, scale } = look;
  const grid = { stroke: colours.rule, width: 1 };
  const up = (plot: uPlot): number => steps_up(plot.bbox.height / uPlot.pxRatio);
  return {
    width: look.width,
    height: look.height,
    padding: [0, 0, 0, 0],
    legend: { show: false },
    pxAlign: false,
    scales: {
      x: { time: false, distr: axis.log ? 3 : 1 },
      y: { distr: scale.log ? 3 : 1, range: () => range_of(look.lines, scale) },
    },
    axes: [
      {
        show: true,
        size: foot ? kFoot_px : 0,
        stroke: colours.muted,
        font: `${look.text_px}px ${colours.font}`,
        grid,
        ticks: { show: false },
        gap: 4,
        splits: (plot, _, low, high) =>
          axis.steps(low, high, Math.floor(plot.bbox.width / uPlot.pxRatio / kPixelsAcross)),
        values: (plot, values) => values.map((value) => (foot ? whole_words(plot, value, look) : '')),
      },
      {
        show: true,
        size: 0,
        grid,
        ticks: { show: false },
        splits: (plot, _, low, high) => (scale.log ? decades(low, high, up(plot)) : even_steps(low, high, up(plot))),
        values: (_, values) => values.map(() => ''),
      },
    ],
    cursor: { x: false, y: false, points: { show: false }, drag: { x: true, y: false, setScale: false } },
    ...series_of(look),
    hooks: {
      draw: [(plot) => write_scale(plot, look)],
      setCursor: [
        (plot) => {
          const { left } = plot.cursor;
          if (left !== undefined && left !== null && left >= 0) look.on_look(plot.posToVal(left, 'x'));
        },
      ],
      setSelect: [
        (plot) => {
          const { left, width } = plot.select;
          if (width > 4) look.on_zoom(plot.posToVal(left, 'x'), plot.posToVal(left + width, 'x'));
          plot.setSelect({ left: 0, width: 0, top: 0, height: 0 }, false);
        },
      ],
    },
  };
}
