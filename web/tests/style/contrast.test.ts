/**
 * Colour tokens against WCAG 2.2: text 4.5:1 (SC 1.4.3), parts of graphics and controls 3:1 (SC 1.4.11); what people read
 * on its ground 7:1 (SC 1.4.6), since it is read in sunlight or in the dark. The formula itself is checked against
 * tests/reference/contrast.json.
 */
import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';

const read = (path: string): string => readFileSync(new URL(path, import.meta.url), 'utf8');
const css = read('../../src/style/tokens.css');

function luminance(hex: string): number {
  const linear = [1, 3, 5].map((at) => {
    const channel = parseInt(hex.slice(at, at + 2), 16) / 255;
    return channel <= 0.04045 ? channel / 12.92 : ((channel + 0.055) / 1.055) ** 2.4;
  });
  return 0.2126 * linear[0]! + 0.7152 * linear[1]! + 0.0722 * linear[2]!;
}

function contrast(a: string, b: string): number {
  const [high, low] = [luminance(a), luminance(b)].sort((x, y) => y - x) as [number, number];
  return (high + 0.05) / (low + 0.05);
}

function tokens(theme: string): Map<string, string> {
  const block = new RegExp(`\\[data-theme='${theme}'\\] \\{([^}]*)\\}`).exec(css)?.[1] ?? '';
  return new Map([...block.matchAll(/--([a-z0-9-]+): (#[0-9a-f]{6});/g)].map((match) => [match[1]!, match[2]!]));
}

it('computes the ratios of the reference', () => {
  const { pairs } = JSON.parse(read('../../../tests/reference/contrast.json')) as {
    pairs: { foreground: string; background: string; contrast_ratio: number }[];
  };
  expect(pairs.length).toBeGreaterThan(5);
  for (const pair of pairs) expect(contrast(pair.foreground, pair.background)).toBeCloseTo(pair.contrast_ratio, 9);
});

const kGrounds = ['ground', 'paper'];
const kTints = ['under-thrust', 'coasting', 'falling', 'under-drogue', 'under-main', 'down'].map(
  (phase) => `tint-${phase}`,
);
/** Night has one hue and little light: lines of data are told apart by their dashes, and reach less. */
const cases = (series: number): [string, string, number][] => [
  ...kGrounds.flatMap((ground): [string, string, number][] => [
    ['ink', ground, 7],
    ['note', ground, 7],
    ['accent', ground, 4.5],
    ['edge', ground, 3],
    ['silhouette', ground, 3],
    ['cursor', ground, 3],
    ['focus', ground, 3],
    ['warning', ground, 7],
    ['caution', ground, 7],
    ['advisory', ground, 7],
    ['limit', ground, 3],
  ]),
  ...[1, 2, 3, 4].map((i): [string, string, number] => [`series-${i}`, 'paper', series]),
  ['hatch', 'paper', 3],
  ['ink', 'word-a', 6.5],
  ['ink', 'word-b', 6.5],
  ...kTints.flatMap((tint): [string, string, number][] => [
    ['ink', tint, 6.5],
    ['note', tint, 4.5],
    ['cursor', tint, 3],
    ...[1, 2, 3, 4].map((i): [string, string, number] => [`series-${i}`, tint, 3]),
  ]),
  ['on-warning', 'warning-band', 7],
  ['on-caution', 'caution-band', 7],
  ['on-advisory', 'advisory-band', 7],
  ['on-accent', 'accent', 7],
  ['paper', 'cursor', 4.5],
];

describe.each([
  ['light', 4.5],
  ['dark', 4.5],
  ['night', 3],
])('%s theme', (theme, series) => {
  const colours = tokens(theme);
  it.each(cases(series))('%s on %s reaches %d:1', (front, back, least) => {
    const [a, b] = [colours.get(front), colours.get(back)];
    expect(a, front).toBeDefined();
    expect(b, back).toBeDefined();
    expect(contrast(a!, b!)).toBeGreaterThanOrEqual(least);
  });
});
