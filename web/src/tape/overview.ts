/**
 * The whole tape of one table in constant memory: least and greatest value per bin. When the tape outgrows the bins,
 * neighbours are merged and bins become twice as long, so an hour and a minute cost the same and no spike is lost.
 */
const kBins = 2048; // about one per pixel column of a wide screen
const kBinFirst_s = 0.05;

export class Overview {
  bin_s = kBinFirst_s;
  /** Bins in use: 0 .. used - 1, bin b spans [b, b + 1) * bin_s from the tape's start. */
  used = 0;
  /** Rows in each bin. */
  readonly rows: Uint32Array;
  private readonly low: readonly Float64Array[];
  private readonly high: readonly Float64Array[];

  constructor(
    readonly column_count: number,
    readonly bins = kBins,
  ) {
    this.rows = new Uint32Array(bins);
    const make = (): Float64Array => new Float64Array(bins).fill(NaN);
    this.low = Array.from({ length: column_count }, make);
    this.high = Array.from({ length: column_count }, make);
  }

  min(column: number, bin: number): number {
    return this.low[column]?.[bin] ?? NaN;
  }

  max(column: number, bin: number): number {
    return this.high[column]?.[bin] ?? NaN;
  }

  /** Counts a row at `t_s` and returns its bin; -1 when the time is before the tape or not finite. */
  touch(t_s: number): number {
    if (!(t_s >= 0) || t_s === Infinity) return -1;
    while (t_s >= this.bin_s * this.bins) this.merge();
    const bin = Math.floor(t_s / this.bin_s);
    this.rows[bin] = (this.rows[bin] ?? 0) + 1;
    if (bin >= this.used) this.used = bin + 1;
    return bin;
  }

  /** Takes a value of a column into a bin given by `touch`. NaN changes nothing. */
  take(bin: number, column: number, value: number): void {
    const low = this.low[column];
    const high = this.high[column];
    if (bin < 0 || !low || !high || Number.isNaN(value)) return;
    const least = low[bin] ?? NaN;
    const greatest = high[bin] ?? NaN;
    if (!(least <= value)) low[bin] = value;
    if (!(greatest >= value)) high[bin] = value;
  }

  private merge(): void {
    const half = this.bins / 2;
    for (let b = 0; b < half; b++) this.rows[b] = (this.rows[2 * b] ?? 0) + (this.rows[2 * b + 1] ?? 0);
    this.rows.fill(0, half);
    const fold = (column: Float64Array, better: (a: number, b: number) => boolean): void => {
      for (let b = 0; b < half; b++) {
        const first = column[2 * b] ?? NaN;
        const second = column[2 * b + 1] ?? NaN;
        column[b] = Number.isNaN(second) || better(first, second) ? first : second;
      }
      column.fill(NaN, half);
    };
    for (const column of this.low) fold(column, (a, b) => a <= b);
    for (const column of this.high) fold(column, (a, b) => a >= b);
    this.used = Math.ceil(this.used / 2);
    this.bin_s *= 2;
  }
}
