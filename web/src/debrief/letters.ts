/** How compared flights are told apart: a letter, and a line of their own that needs no colour. */

/** A to Z, then AA, AB. */
export function letter_of(place: number): string {
  const last = String.fromCharCode(65 + (place % 26));
  return place < 26 ? last : letter_of(Math.floor(place / 26) - 1) + last;
}

const kDashes: readonly (readonly number[])[] = [
  [],
  [9, 4],
  [2, 4],
  [14, 4, 2, 4],
  [5, 3],
  [12, 3, 5, 3],
  [2, 8],
  [18, 6],
];
const kColours = 4;

export interface LineStyle {
  /** 1 to 4: of the tokens' series. */
  colour: number;
  dash: readonly number[];
}

/** Colours come again before dashes do, so that no two of the first eight lines are alike. */
export const style_of = (place: number): LineStyle => ({
  colour: (place % kColours) + 1,
  dash: kDashes[place % kDashes.length] ?? [],
});
