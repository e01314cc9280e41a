/**
 * Reduces rows to one vertical span per pixel column: the lowest and highest point of the line there. Spikes stay,
 * the cost does not grow with the width of the line, and feeding the same rows twice changes nothing. Pure.
 */
export class Raster {
  low = new Float32Array(0);
  high = new Float32Array(0);
  width = 0;
  private from_s = 0;
  private px_per_s = 1;
  private last_x = NaN;
  private last_value = NaN;
  private last_t_s = NaN;

  /** Empties the raster for a window of `width` pixel columns. */
  begin(width: number, from_s: number, span_s: number): void {
    if (this.low.length < width) {
      this.low = new Float32Array(width);
      this.high = new Float32Array(width);
    }
    this.width = width;
    this.low.fill(NaN, 0, width);
    this.high.fill(NaN, 0, width);
    this.from_s = from_s;
    this.px_per_s = width / span_s;
    this.break();
  }

  /** Moves what is there to the left by whole pixel columns; the window then begins at `from_s`. */
  move(columns: number, from_s: number): void {
    for (const edge of [this.low, this.high]) {
      edge.copyWithin(0, columns, this.width);
      edge.fill(NaN, this.width - columns, this.width);
    }
    this.from_s = from_s;
    this.break();
  }

  /** The next point is not joined to the one before it. */
  break(): void {
    this.last_x = NaN;
  }

  /** Next point in order of time. A point further than `gap_s` from the one before, or NaN, breaks the line. */
  add(t_s: number, value: number, gap_s: number): void {
    if (Number.isNaN(value)) {
      this.break();
      return;
    }
    const x = (t_s - this.from_s) * this.px_per_s;
    if (!Number.isNaN(this.last_x) && t_s - this.last_t_s <= gap_s) this.join(this.last_x, this.last_value, x, value);
    else this.touch(Math.floor(x), value);
    this.last_x = x;
    this.last_value = value;
    this.last_t_s = t_s;
  }

  private touch(column: number, value: number): void {
    if (column < 0 || column >= this.width) return;
    const low = this.low[column] ?? NaN;
    const high = this.high[column] ?? NaN;
    if (!(low <= value)) this.low[column] = value;
    if (!(high >= value)) this.high[column] = value;
  }

  /** A straight line: each column gets the part of it that lies inside. */
  private join(x0: number, v0: number, x1: number, v1: number): void {
    const first = Math.max(0, Math.floor(x0));
    const last = Math.min(this.width - 1, Math.floor(x1));
    const slope = x1 > x0 ? (v1 - v0) / (x1 - x0) : 0;
    for (let column = first; column <= last; column++) {
      this.touch(column, column <= x0 ? v0 : v0 + slope * (column - x0));
      this.touch(column, column + 1 >= x1 ? v1 : v0 + slope * (column + 1 - x0));
    }
  }
}
