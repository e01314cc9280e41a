/** Which levels of a spectrogram are told apart. Pure. */
const kSpan_db = 50; // fainter is noise that hides what is to be seen

/** From what is just seen to the strongest. */
export function level_range(levels: readonly (readonly number[])[]): [number, number] {
  let high = -Infinity;
  for (const row of levels) for (const level of row) if (Number.isFinite(level) && level > high) high = level;
  return Number.isFinite(high) ? [high - kSpan_db, high] : [-kSpan_db, 0];
}
