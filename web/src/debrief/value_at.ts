/** Value of a line at a moment, between its neighbours; NaN outside and in gaps. */
export function value_at(t_s: readonly number[], values: readonly number[], at_s: number): number {
  let [low, high] = [0, t_s.length - 1];
  if (high < 0 || !(at_s >= (t_s[0] ?? NaN)) || !(at_s <= (t_s[high] ?? NaN))) return NaN;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if ((t_s[middle] ?? Infinity) <= at_s) low = middle;
    else high = middle;
  }
  const [t0 = NaN, t1 = NaN, v0 = NaN, v1 = NaN] = [t_s[low], t_s[high], values[low], values[high]];
  return t1 > t0 ? v0 + ((v1 - v0) * (at_s - t0)) / (t1 - t0) : v0;
}
