/** What a strip shows besides its line: limits, gaps, phases and what is to come, as written down by the SVG pen. */
import { describe, expect, it } from 'vitest';
import { Kept } from '../../../src/draw/strip/kept';
import { kChain, type Palette } from '../../../src/draw/palette';
import { draw_strip, type StripScene } from '../../../src/draw/strip/strip';
import { SvgPen } from '../../../src/draw/svg_pen';
import { painted_window } from '../../../src/draw/strip/window';
import type { Limit } from '../../../src/stream/description';
import { History } from '../../../src/tape/history';
import { strips_of } from '../../../src/tape/strips';
import { take_series } from '../../../src/tape/take';
import { Tape } from '../../../src/tape/tape';
import { description, pair, phase, table } from '../../support/builders';

const colours = {
  ink: 'ink',
  muted: 'muted',
  surface: 'paper',
  rule: 'rule',
  edge: 'edge',
  hatch: 'hatch',
  range: 'range',
  limit: 'limit',
  tints: new Map([['coasting', 'tint']]),
  series: ['line', 'second'],
  bands: ['band', 'band'],
  font: 'serif',
} as unknown as Palette;
const kWidth = 600;

function drawn(
  times: readonly number[],
  value: (t_s: number) => number,
  more: Partial<StripScene> = {},
  limits: Limit[] = [],
  unit = 'm',
): string {
  const about = description([table('v/e', 'packet', pair('x', unit, { limits, range: null }), { period_s: 0.1 })]);
  const tape = new Tape(about, 'live', []);
  const columns = [times.map(value), times.map(() => 0.2)].flat();
  const values = Float64Array.from(columns);
  const t_s = Float64Array.from(times);
  take_series(
    tape,
    { table: 0, columns: 2, rows: times.length, decimated: false, t_s, min: values, max: values, mean: values },
    0,
    true,
  );
  tape.log.add(phase(1, 10, 'coasting'));
  const [strip] = strips_of(about, 0).flatMap((group) => group.strips);
  if (!strip) throw new Error('no strip');
  const pen = new SvgPen(kWidth, 60);
  draw_strip(pen, colours, kWidth, 60, {
    tape,
    history: new History(tape),
    strip,
    window: { from_s: 0, span_s: 60 },
    phases: tape.log.phases(0),
    named: true,
    zero_s: 0,
    future: [],
    kept: new Kept(),
    layer: undefined,
    ...more,
  });
  return pen.picture('ground');
}
const every_s = (from: number, to: number): number[] =>
  Array.from({ length: (to - from) * 10 }, (_, i) => from + i / 10);
const count = (picture: string, colour: string): number => picture.split(`"${colour}"`).length - 1;

describe('a strip', () => {
  const plain = drawn(every_s(0, 40), (t) => 8 + 0.1 * Math.sin(t));
  it('has its line, the band of its 1-sigma, and the name of a phase on its tint', () => {
    expect([count(plain, 'line'), count(plain, 'band'), count(plain, 'tint')]).toEqual([1, 1, 1]);
    expect(plain).toMatch(/>coasting</);
  });
  it('has a chain line with words for a limit that is near, and none for one that is far', () => {
    const near = drawn(every_s(0, 40), () => 8, {}, [{ side: 'low', value: 7.4, level: 'caution' }]);
    expect(near).toContain(`stroke-dasharray="${kChain.join(' ')}"`);
    expect(near).toMatch(/>least 7\.4 m</);
    const far = drawn(every_s(0, 40), () => 8, {}, [{ side: 'high', value: 80, level: 'caution' }]);
    expect(count(far, 'limit')).toBe(0);
  });
  it('makes no room for the edge of what is valid', () => {
    const edge = drawn(every_s(0, 40), () => 8, {}, [{ side: 'low', value: 7.4, level: 'valid' }]);
    expect(count(edge, 'limit')).toBe(0);
  });
  it('is hatched where nothing came for longer than a second, and not for a lost packet', () => {
    const gap = drawn([...every_s(0, 15), ...every_s(20, 60)], () => 8);
    expect(count(gap, 'hatch')).toBe(1);
    const lost = drawn(
      every_s(0, 60).filter((t) => Math.abs(t - 12) > 0.25),
      () => 8,
    );
    expect(count(lost, 'hatch')).toBe(0);
  });
  it('shows what is to come in dots of ink', () => {
    const future = [
      { t_s: 40, value: 8 },
      { t_s: 55, value: 3 },
    ];
    const dotted = drawn(every_s(0, 40), () => 8, { future });
    expect(dotted).toMatch(/d="M400 [\d.]+L550 [\d.]+" fill="none" stroke="ink"[^/]*stroke-dasharray="2 4.5"/);
    expect(plain).not.toMatch(/stroke-dasharray="2 4.5"/);
  });
  it('is divided in round numbers of the unit that people read', () => {
    const turning = drawn(every_s(0, 40), (t) => 2 * Math.sin(t), {}, [], 'rad/s');
    const ticks = [...turning.matchAll(/>([−\d.]+)</g)].map(([, tick]) => tick);
    expect(new Set(ticks)).toEqual(new Set(['−100', '0', '100']));
  });
  it('says that there is nothing in a window without rows', () =>
    expect(drawn([], () => 8)).toMatch(/>no data in this window</));
});

describe('the painted window', () => {
  it('rides with the head in whole steps of pixels, and stands where it was put', () => {
    const tape = new Tape(description([]), 'live', []);
    tape.zoom(1);
    const step_s = (2 * tape.span_s) / kWidth;
    const { from_s } = painted_window(tape, kWidth);
    expect(from_s / step_s - Math.round(from_s / step_s)).toBeCloseTo(0, 9);
    expect(tape.from_s - from_s).toBeGreaterThanOrEqual(0);
    expect(tape.from_s - from_s).toBeLessThan(step_s);
    tape.pan(-7.123);
    expect(painted_window(tape, kWidth).from_s).toBe(tape.from_s);
  });
});

describe('the SVG pen', () => {
  it('writes words as words, escaped, at the place of their part', () => {
    const pen = new SvgPen(100, 50);
    pen.move_to_part(10, 20);
    pen.font = 'bold 12px serif';
    pen.textAlign = 'right';
    pen.fillStyle = 'ink';
    pen.fillText('a < b & "c"', 5, 6);
    expect(pen.picture('ground')).toContain(
      '<text x="15" y="26" font-family="serif" font-size="12" font-weight="bold" text-anchor="end" fill="ink">a &lt; b &amp; &quot;c&quot;</text>',
    );
  });
});
