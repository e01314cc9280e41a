/** Where the numbers of upright lines stand, so that none covers another. */
export interface LabelPlace {
  /** Of its left end, in pixels. */
  left: number;
  /** From the top; 0 is the first. */
  row: number;
}

const kBeside_px = 3;

/**
 * Right of its line; left of it where the next line is too close; a row further down where neither is free.
 * `lines`: in order, in pixels.
 */
export function label_places(lines: readonly number[], width: number, most: number): LabelPlace[] {
  const ends: number[] = []; // by row
  return lines.map((line, i) => {
    const after = line + kBeside_px;
    const before = line - kBeside_px - width;
    const is_close = (lines[i + 1] ?? Infinity) < after + width;
    for (let row = 0; ; row++) {
      const end = ends[row] ?? 0;
      const right_fits = after >= end && after + width <= most;
      const left_fits = before >= end && before > (lines[i - 1] ?? -Infinity);
      if (!right_fits && !left_fits && row in ends) continue;
      const left = right_fits && !(left_fits && is_close) ? after : Math.max(0, before);
      ends[row] = left + width;
      return { left, row };
    }
  });
}
