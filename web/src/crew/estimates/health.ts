/** Words of a filter's health, as the station tells it. */

/** By how soon each deserves attention; the first is as it should be. */
export const kHealthWords = [
  'consistent',
  'not enough data yet',
  'conservative',
  'overconfident',
  'do not trust',
] as const;
export type HealthWord = (typeof kHealthWords)[number];

/** Place among `kHealthWords`; behind all of them when the word is none. */
export function health_rank(word: string): number {
  const rank = kHealthWords.findIndex((known) => known === word);
  return rank < 0 ? kHealthWords.length : rank;
}
