/** Names and flags above the tape: none covers another. */
import { expect, it } from 'vitest';
import { kFlag_px, name_places, type TapeName } from '../../src/draw/tape_names';

const event = (at: number, width = 48): TapeName => ({ at, width, flag: false });
const flag = (at: number, width = 120): TapeName => ({ at, width, flag: true });

it.each([
  ['a bookmark in the middle of "apogee"', [event(100), flag(120)], [false, true]],
  ['a bookmark at the apogee', [event(100), flag(100)], [false, true]],
  ['a bookmark just before it, whose flag is free', [event(100), flag(70)], [false, false]],
  ['a bookmark far from it', [event(100), flag(400)], [false, false]],
  ['two bookmarks a few pixels apart', [flag(200), flag(206)], [false, true]],
  ['an older one whose text would cover a newer flag', [event(300), flag(280, 200), flag(200)], [false, false, false]],
  ['many at the right end', [event(690), flag(680), flag(690), flag(695)], [false, true, true, true]],
])('%s', (_, names, low) => {
  const places = name_places(names, 14, 700);
  expect(places.map((one) => one.low)).toEqual(low);
  const boxes = places.flatMap(({ from, low: down }, i) => {
    const { at, width, flag: has_flag } = names[i]!;
    return [
      ...(from === undefined ? [] : [[from, from + width] as const]),
      ...(has_flag && !down ? [[at, at + kFlag_px - 4] as const] : []),
    ];
  });
  boxes.forEach(([from, to], i) => {
    for (const [other_from, other_to] of boxes.slice(0, i)) expect(from >= other_to || to <= other_from).toBe(true);
  });
  expect(places[0]?.from).toBeDefined();
});
