/** How much of a measured value tells something. */
const kDigits = 4;

/** Decimals of the value's own unit that are worth showing. */
export function told_decimals(value: number): number {
  const size = Math.abs(value);
  return size > 0 ? Math.max(-2, kDigits - 1 - Math.floor(Math.log10(size))) : kDigits;
}
