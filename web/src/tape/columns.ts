/**
 * Newest rows of one table at full rate: a ring of typed arrays, in order of time. A late row is put in its place; a row
 * that is there already (refill after a gap) is left out. Nothing is allocated per row.
 */
const kCapacity = 1 << 14; // 82 s of a 200 Hz table, 27 min of a 10 Hz one; older windows come from the server

export class Columns {
  readonly t_s: Float64Array;
  readonly values: readonly Float64Array[];
  /** Rows held; row i (0 oldest) lies at `place(i)`. */
  count = 0;
  /** Rows before this were lost and could not be refilled: what is older than it is not complete. */
  complete_from_s = Infinity;
  private start = 0;
  private readonly mask: number;
  private readonly row: Float64Array;

  constructor(
    readonly column_count: number,
    readonly capacity = kCapacity,
  ) {
    this.mask = capacity - 1;
    if ((capacity & this.mask) !== 0) throw new RangeError('capacity must be a power of two');
    this.t_s = new Float64Array(capacity);
    this.values = Array.from({ length: column_count }, () => new Float64Array(capacity));
    this.row = new Float64Array(column_count);
  }

  place(i: number): number {
    return (this.start + i) & this.mask;
  }

  /** Of row i; NaN when there is no such row: before the first one there is no value, not a zero. */
  time(i: number): number {
    return i < 0 || i >= this.count ? NaN : (this.t_s[this.place(i)] ?? NaN);
  }

  value(column: number, i: number): number {
    return i < 0 || i >= this.count ? NaN : (this.values[column]?.[this.place(i)] ?? NaN);
  }

  /** Row from a little-endian message: value of column c at `values_offset + 8 * (c * rows + i)`. */
  push_block_row(view: DataView, t_offset: number, values_offset: number, rows: number, i: number): void {
    for (let c = 0; c < this.column_count; c++) this.row[c] = view.getFloat64(values_offset + 8 * (c * rows + i), true);
    this.insert(view.getFloat64(t_offset + 8 * i, true));
  }

  /** Row i of column-major arrays with `rows` rows. */
  push_row(t_s: number, values: Float64Array, rows: number, i: number): void {
    for (let c = 0; c < this.column_count; c++) this.row[c] = values[c * rows + i] ?? NaN;
    this.insert(t_s);
  }

  clear(): void {
    this.count = 0;
    this.start = 0;
    this.complete_from_s = Infinity;
  }

  /** Newest row at or before `t_s`; -1 when there is none. */
  find(t_s: number): number {
    let low = 0;
    let high = this.count;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (this.time(middle) <= t_s) low = middle + 1;
      else high = middle;
    }
    return low - 1;
  }

  /** Whether every row from `t_s` on is here. */
  covers(t_s: number): boolean {
    return this.count > 0 && t_s >= this.complete_from_s;
  }

  private insert(t_s: number): void {
    if (!Number.isFinite(t_s)) return;
    let i = this.count;
    while (i > 0 && this.time(i - 1) > t_s) i--;
    for (let k = i - 1; k >= 0 && this.time(k) === t_s; k--) {
      if (this.same(k)) return;
    }
    if (this.count === this.capacity) {
      if (i === 0) return; // older than everything in a full ring
      this.start = this.place(1);
      this.count--;
      i--;
      this.complete_from_s = Math.max(this.complete_from_s, this.time(0));
    } else if (this.complete_from_s === Infinity) {
      this.complete_from_s = t_s;
    }
    for (let k = this.count; k > i; k--) {
      const to = this.place(k);
      const from = this.place(k - 1);
      this.t_s[to] = this.t_s[from] ?? NaN;
      for (const column of this.values) column[to] = column[from] ?? NaN;
    }
    const to = this.place(i);
    this.t_s[to] = t_s;
    for (let c = 0; c < this.column_count; c++) {
      const column = this.values[c];
      if (column) column[to] = this.row[c] ?? NaN;
    }
    this.count++;
  }

  private same(i: number): boolean {
    for (let c = 0; c < this.column_count; c++) {
      if (!Object.is(this.value(c, i), this.row[c])) return false;
    }
    return true;
  }
}
