/** Where names stand above the tape, and the flags of what people marked. Pure. */

export interface TapeName {
  /** Of the moment, in pixels. */
  at: number;
  /** Of the text. */
  width: number;
  flag: boolean;
}

export interface NamePlace {
  /** Where the text begins; undefined: there is no room for it. */
  from: number | undefined;
  /** The flag would cover a name: it stands in the band below. */
  low: boolean;
}

export const kFlag_px = 14; // with the room beside it
const kApart_px = 6;
const kBefore_px = 4;

/** Whoever comes first has the place. */
export function name_places(names: readonly TapeName[], left: number, right: number): NamePlace[] {
  const taken: { from: number; to: number }[] = [];
  const is_free = (from: number, to: number, apart: number): boolean =>
    taken.every((other) => to + apart < other.from || from - apart > other.to);
  return names.map(({ at, width, flag }) => {
    const low = flag && !is_free(at, at + kFlag_px, 0);
    const whole = width + (flag ? kFlag_px : 0);
    const from = Math.max(left, Math.min(right - whole, at - (flag ? 0 : kBefore_px)));
    const has_room = is_free(from, from + whole, kApart_px);
    if (has_room) taken.push({ from, to: from + whole });
    else if (flag && !low) taken.push({ from: at, to: at + kFlag_px });
    return { from: has_room ? from + (flag ? kFlag_px : 0) : undefined, low };
  });
}
