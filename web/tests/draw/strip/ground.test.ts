/** Limits of a strip: each keeps its words apart from those of another. */
import { expect, it } from 'vitest';
import { draw_limits, limit_words, type Frame } from '../../../src/draw/strip/ground';
import type { Limit } from '../../../src/stream/description';

const kLetter_px = 7;

/** Where words were written, from left to right. */
function words_of(limits: readonly Limit[]): { text: string; left: number; y: number }[] {
  const written: { text: string; left: number; y: number }[] = [];
  const nothing = (): void => undefined;
  const pen = new Proxy(
    {
      fillText: (text: string, left: number, y: number) => void written.push({ text, left, y }),
      measureText: (text: string) => ({ width: kLetter_px * text.length }),
    },
    { get: (own, name) => Reflect.get(own, name) ?? nothing, set: () => true },
  );
  const frame = { pen, colours: {}, width: 600, height: 60 } as unknown as Frame;
  draw_limits(frame, limits, 'V', (value) => 60 - 20 * (value - 6), 6, 9);
  return written;
}

const least = (value: number): Limit => ({ side: 'low', value, level: 'caution' });

it('words of limits that lie close together stand behind each other', () => {
  const [first, second] = words_of([least(7.2), least(6.8)]);
  expect([first?.text, second?.text]).toEqual(['least 7.2 V', 'least 6.8 V']);
  expect(second?.left).toBeGreaterThan((first?.left ?? NaN) + kLetter_px * 'least 7.2 V'.length);
});

it('a limit is said in the unit that people read', () =>
  expect([limit_words('By', 200_000_000), limit_words('rad/s', Math.PI), limit_words('V', 7.4)]).toEqual([
    '200 MB',
    '180 °/s',
    '7.4 V',
  ]));

it('words of limits that lie apart stand under each other', () => {
  const [first, second] = words_of([least(8.6), least(6.8)]);
  expect(second?.left).toBe(first?.left);
});
