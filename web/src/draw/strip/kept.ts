/**
 * What is kept of a strip from one painting to the next. While the window rides with the head it moves by whole pixel
 * columns: then rasters and pixels are moved along, and only what is new is rastered and drawn.
 */
import type { PageMs, TapeSeconds } from '../../stream/clocks';
import { kSeriesMax } from '../../tape/strips';
import type { Tape } from '../../tape/tape';
import { Raster } from './raster';
import type { Window } from './window';

const kLate_s = 2; // rows that come later than this appear with the next whole painting
const kWhole_ms = 4000;
const kJoin_px = 4; // a new row changes the columns that lead up to it

const rasters = (): Raster[] => Array.from({ length: kSeriesMax }, () => new Raster());

export class Kept {
  readonly lines = rasters();
  readonly bands_low = rasters();
  readonly bands_high = rasters();
  /** Pixel columns by which everything has moved to the left since the last painting; NaN: nothing can be kept. */
  shift_px = NaN;
  /** Rows from here on are new. */
  since_s: TapeSeconds = -Infinity;
  private tape: Tape | undefined;
  private rode = false; // else the rows before it have come since
  private from_s: TapeSeconds = NaN;
  private span_s = NaN;
  private pixels = 0;
  private end_s: TapeSeconds = NaN;
  private whole_ms: PageMs = -Infinity;

  /** `rides`: the window rides with the tape's head over rows that the page holds. */
  begin(tape: Tape, { from_s, span_s }: Window, pixels: number, rides: boolean, now_ms: PageMs): void {
    const moved = ((from_s - this.from_s) / span_s) * pixels;
    const shift = Math.round(moved);
    const keeps =
      rides &&
      this.rode &&
      tape === this.tape &&
      span_s === this.span_s &&
      pixels === this.pixels &&
      shift >= 0 &&
      shift < pixels / 2 &&
      Math.abs(moved - shift) < 0.01 &&
      now_ms - this.whole_ms < kWhole_ms;
    this.shift_px = keeps ? shift : NaN;
    this.since_s = keeps ? this.end_s - kLate_s : -Infinity;
    if (!keeps) this.whole_ms = now_ms;
    this.rode = rides;
    [this.tape, this.from_s, this.span_s, this.pixels, this.end_s] = [tape, from_s, span_s, pixels, tape.head_s];
  }

  /** The first pixel column that has to be drawn. */
  get dirty_px(): number {
    if (Number.isNaN(this.shift_px)) return 0;
    return Math.max(0, Math.floor(((this.since_s - this.from_s) / this.span_s) * this.pixels) - kJoin_px);
  }

  /** Makes a raster ready for the rows from `since_s` on. */
  ready(raster: Raster): void {
    if (Number.isNaN(this.shift_px)) raster.begin(this.pixels, this.from_s, this.span_s);
    else raster.move(this.shift_px, this.from_s);
  }
}

/** The pixels of a strip's lines. */
export class Layer {
  private readonly canvas = document.createElement('canvas');
  private readonly context = this.canvas.getContext('2d');
  private key = '';

  /** Draws what `kept` does not hold, from a pixel column on, and puts all of it onto `target`. `key`: what it looks like. */
  paint(
    target: CanvasRenderingContext2D,
    kept: Kept,
    key: string,
    width: number,
    height: number,
    draw: (pen: CanvasRenderingContext2D, from_px: number) => void,
  ): void {
    const { canvas, context } = this;
    if (!context) return;
    const ratio = target.getTransform().a;
    const look = `${key} ${width} ${height} ${ratio}`;
    const step = kept.shift_px * ratio;
    const whole = look !== this.key || !Number.isInteger(step);
    if (look !== this.key) {
      canvas.width = Math.round(width * ratio);
      canvas.height = Math.round(height * ratio);
      this.key = look;
    }
    if (!whole && step > 0) {
      context.setTransform(1, 0, 0, 1, 0, 0);
      context.globalCompositeOperation = 'copy';
      context.drawImage(canvas, -step, 0);
      context.globalCompositeOperation = 'source-over';
    }
    const from_px = whole ? 0 : kept.dirty_px;
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    context.clearRect(from_px, 0, width - from_px, height);
    draw(context, from_px);
    target.drawImage(canvas, 0, 0, width, height);
  }
}
