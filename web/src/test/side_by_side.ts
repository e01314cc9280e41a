/** Tests beside each other; the report's are worked out in `server/analysis/charge/side_by_side.cpp`. */

export interface Spread {
  count: number;
  mean: number;
  /** Sample standard deviation; NaN of fewer than two. */
  sd: number;
}

/** Of those values that are numbers. */
export function spread_of(values: readonly number[]): Spread {
  const said = values.filter(Number.isFinite);
  const mean = said.reduce((sum, value) => sum + value, 0) / said.length;
  const squares = said.reduce((sum, value) => sum + (value - mean) ** 2, 0);
  return { count: said.length, mean, sd: said.length < 2 ? NaN : Math.sqrt(squares / (said.length - 1)) };
}

/** As the trade quotes two like parts: their difference over the mean of the two. */
export const relative_difference = (one: number, other: number): number => (2 * (one - other)) / Math.abs(one + other);
