/** Marks are told apart without colour: urgency by the number of strokes, links and landing cases by their lines. */
import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { kCaseMarks, link_line, mark_of } from '../../src/draw/marks';
import { kStrokes } from '../../src/draw/strokes';
import { link_state_words } from '../../src/crew/links/wording';
import { kLandingCases } from '../../src/tape/estimates';
import { event } from '../support/builders';

const distinct = (values: readonly unknown[]): number => new Set(values.map((value) => JSON.stringify(value))).size;

describe('marks', () => {
  it.each([
    ['advisory', 1],
    ['caution', 2],
    ['warning', 3],
  ] as const)('%s has %d strokes', (urgency, count) =>
    expect(kStrokes[urgency].match(/h2v8h-2z/g)?.length).toBe(count),
  );
  it('have a filled box for a warning only', () => {
    const hollow = 'M2 2V14H12V2Z';
    expect([kStrokes.advisory, kStrokes.caution, kStrokes.warning].map((path) => path.includes(hollow))).toEqual([
      true,
      true,
      false,
    ]);
  });
  it('give every state of a link a line and a word of its own, and an unknown one none', () => {
    const protocol = readFileSync(new URL('../../../protocol/STREAM.md', import.meta.url), 'utf8');
    const rows = /^\| state \| meaning \|\n.*\n((?:\|.*\n)+)/m.exec(protocol)?.[1] ?? '';
    const states = [...rows.matchAll(/^\| `(\w+)`/gm)].map((match) => match[1]!);
    expect(states.map(link_state_words)).toEqual(['opening', 'open', 'no data', 'lost', 'cannot open', 'end of file']);
    expect(distinct(states.map(link_line))).toBe(states.length);
    expect(link_line('something new').path).toBe('');
  });
  it('give every landing case a line and a letter of its own', () => {
    const marks = kLandingCases.map((name) => kCaseMarks[name]);
    expect([distinct(marks.map((m) => m.letter)), distinct(marks.map((m) => m.dash))]).toEqual([
      kLandingCases.length,
      kLandingCases.length,
    ]);
  });
  it.each([
    ['marker', 'note', 'marker'],
    ['note', 'note', 'marker'],
    ['flight_event', 'note', 'event'],
    ['flight_event', 'advisory', 'advisory'],
    ['alert_raised', 'warning', 'warning'],
    ['alert_cleared', 'caution', 'event'],
  ] as const)('mark a %s of level %s as %s', (kind, level, mark) =>
    expect(mark_of(event(1, 0, kind, 'k', { level }))).toBe(mark),
  );
});
