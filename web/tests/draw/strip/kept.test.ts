/** A strip that is moved along looks as one that is drawn from the beginning. */
import { afterEach, describe, expect, it, vi } from 'vitest';
import { Kept } from '../../../src/draw/strip/kept';
import type { Palette } from '../../../src/draw/palette';
import { draw_strip } from '../../../src/draw/strip/strip';
import { SvgPen } from '../../../src/draw/svg_pen';
import { painted_window } from '../../../src/draw/strip/window';
import { History } from '../../../src/tape/history';
import { strips_of } from '../../../src/tape/strips';
import { take_series } from '../../../src/tape/take';
import { Tape } from '../../../src/tape/tape';
import { description, pair, table } from '../../support/builders';

const colours = {
  ink: 'i',
  muted: 'm',
  surface: 's',
  rule: 'r',
  hatch: 'h',
  tints: new Map(),
  series: ['l'],
  bands: ['b'],
  font: 'f',
};
const kWidth = 400;
const kRow_s = 0.1;

afterEach(() => void vi.useRealTimers());

function feed(tape: Tape, from_s: number, to_s: number, lost: (t_s: number) => boolean): void {
  const times: number[] = [];
  for (let k = Math.round(from_s / kRow_s); k * kRow_s < to_s - 1e-9; k++)
    if (!lost(k * kRow_s)) times.push(k * kRow_s);
  const values = Float64Array.from([
    ...times.map((t) => Math.sin(t * 3) + 0.3 * Math.sin(t * 17)),
    ...times.map(() => 0.2),
  ]);
  const t_s = Float64Array.from(times);
  take_series(
    tape,
    { table: 0, columns: 2, rows: times.length, decimated: false, t_s, min: values, max: values, mean: values },
    0,
    true,
  );
  tape.set_station_now(to_s);
}

describe('a strip that is kept', () => {
  it.each([
    ['with every row', () => false],
    ['with losses and a gap', (t_s: number) => Math.round(t_s * 10) % 13 === 0 || (t_s > 72 && t_s < 75)],
  ])('%s is the same as a whole one at every step', (_, lost) => {
    vi.useFakeTimers({ toFake: ['performance', 'Date'] });
    const about = description([table('v/e', 'packet', pair('x'), { period_s: kRow_s })]);
    about.recording.t_end_s = 0;
    const tape = new Tape(about, 'live', []);
    const history = new History(tape);
    const [strip] = strips_of(about, 0).flatMap((group) => group.strips);
    if (!strip) throw new Error('no strip');
    const picture = (kept: Kept): string => {
      const pen = new SvgPen(kWidth, 60);
      draw_strip(pen, colours as unknown as Palette, kWidth, 60, {
        tape,
        history,
        strip,
        window: painted_window(tape, kWidth),
        phases: [],
        named: false,
        zero_s: 0,
        future: [],
        kept,
        layer: undefined,
      });
      return pen.picture('g');
    };
    feed(tape, 0, 61, lost);
    const kept = new Kept();
    picture(kept);
    let moved = 0;
    for (let end_s = 61; end_s < 80; end_s += 0.3) {
      feed(tape, end_s, end_s + 0.3, lost);
      const along = picture(kept);
      if (kept.shift_px > 0) moved++;
      expect(along, `at ${end_s}`).toBe(picture(new Kept()));
    }
    expect(moved).toBeGreaterThan(20);
  });
});
