/** Words of the value table. */

export const kValueWords = {
  title: 'Values',
  at_cursor: 'Cursor',
  at_second: 'Second',
  difference: 'Difference',
  per_s: 'per s',
  least: 'Least',
  greatest: 'Greatest',
  mean: 'Mean',
  how: 'Shift and a click on a strip put a second cursor; the rows then say what lies between both. A click on a value copies it.',
  put: 'Measure from here',
  clear: 'Clear',
  copy: 'Copy table',
  csv: 'Window as CSV',
  png: 'Picture, PNG',
  svg: 'Picture, SVG',
} as const;
