import { expect, it } from 'vitest';
import { place_labels, type Label } from '../../src/draw/labels';

const label = (text: string, x: number, y: number, align: CanvasTextAlign = 'left'): Label => ({
  text,
  x,
  y,
  align,
  baseline: 'middle',
  font: '',
});
const placed = (...labels: Label[]): string[] =>
  place_labels(labels, 100, ({ text }) => 10 * text.length).map(({ text, x, y }) => `${text} ${x} ${y}`);

it('leaves words alone that have room', () => {
  expect(placed(label('pad', 2, 0), label('road', 40, 0), label('hill', 2, 15))).toEqual([
    'hill 2 15',
    'road 40 0',
    'pad 2 0',
  ]);
  expect(placed(label('people', 2, 0), label('far', 65, 0))).toEqual(['far 65 0', 'people 2 15']);
});

it('moves what was said earlier off what was said later, and leaves out what has no room', () => {
  expect(placed(label('pad', 2, 0), label('N', 5, 2))).toEqual(['N 5 2', 'pad 2 -15']);
  expect(placed(label('pad', 2, 0), label('N', 5, 0), label('B', 5, 15), label('D', 5, -15))).toEqual([
    'D 5 -15',
    'B 5 15',
    'N 5 0',
  ]);
});

it('keeps on the drawing what begins there, and leaves out what does not', () => {
  expect(placed(label('people', 10, 0, 'center'), label('road', 90, 30), label('gone', -3, 60))).toEqual([
    'road 58 30',
    'people 32 0',
  ]);
});

it('measures words from where they are anchored', () => {
  expect(placed(label('pad', 32, 0, 'right'), label('hill', 40, 0))).toEqual(['hill 40 0', 'pad 32 0']);
  expect(placed(label('pad', 30, 0, 'center'), label('hill', 30, 0))).toEqual(['hill 30 0', 'pad 30 15']);
});
