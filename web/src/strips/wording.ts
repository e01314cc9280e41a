/** Words of the strips. */

export const kStripWords = {
  keys: 'Strips. Arrow keys move the cursor, plus and minus zoom, Shift with arrows steps by rows in replay, End goes back to live. A click with Shift sets a second cursor.',
  groups: 'Groups of strips',
  more: 'more groups',
  fewer: 'fewer',
  own: 'Chosen',
  follow: 'follow the flight again',
  keep: 'Put on top',
  fold: 'Fold away',
} as const;
