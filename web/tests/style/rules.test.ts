/** What looks alike in several views is said once, in style/: a rule of some length stands in one file. */
import { readdirSync, readFileSync } from 'node:fs';
import { expect, it } from 'vitest';

const source = new URL('../../src/', import.meta.url);
const kLong = 4; // declarations; shorter ones meet by chance

/** Rules of a file as sorted declarations. */
function rules_of(file: string): string[] {
  const text = readFileSync(new URL(file, source), 'utf8');
  const css = file.endsWith('.svelte')
    ? [...text.matchAll(/<style>(.*?)<\/style>/gs)].map(([, part]) => part).join('\n')
    : text;
  return [...css.replaceAll(/\/\*.*?\*\//gs, '').matchAll(/\{([^{}]*)\}/g)].flatMap(([, body = '']) => {
    const declarations = body
      .split(';')
      .map((one) => one.trim())
      .filter((one) => one !== '');
    return declarations.length >= kLong ? [declarations.sort().join('; ')] : [];
  });
}

it('no rule is written in two files', () => {
  const files = readdirSync(source, { recursive: true, encoding: 'utf8' }).filter((name) =>
    /\.(svelte|css)$/.test(name),
  );
  const where = new Map<string, Set<string>>();
  for (const file of files)
    for (const rule of rules_of(file)) where.set(rule, (where.get(rule) ?? new Set()).add(file));
  expect(where.size).toBeGreaterThan(100);
  const twice = [...where]
    .filter(([, found]) => found.size > 1)
    .map(([rule, found]) => `${[...found].join(', ')}: ${rule}`);
  expect(twice).toEqual([]);
});
