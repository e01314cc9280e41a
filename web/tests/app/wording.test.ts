/** Words of the page around the views. */
import { expect, it } from 'vitest';
import { behind_words } from '../../src/app/wording';
import {
  chapter_words,
  connection_words,
  kConnectionLine,
  notice_words,
  recorder_words,
  span_words,
} from '../../src/app/menu_wording';
import { link_line } from '../../src/draw/marks';
import { NoAnswer } from '../../src/stream/no_answer';

const recorder = {
  recording: true,
  fault: '',
  file_bytes: 1,
};

it('says how far behind live the cursor is, and how much is shown', () => {
  expect(behind_words(12.3)).toBe('12 s behind live');
  expect(span_words(60)).toBe('Showing 1 min');
});

it('tells the flights of a tape apart', () => {
  const start_ms = Date.UTC(2026, 4, 17, 14, 30);
  const chapter = { number: 2, name: '', from_s: 900, liftoff_s: 960 };
  expect(chapter_words(chapter, start_ms)).toBe('2: 17 May 2026 14:46 UTC');
  expect(chapter_words({ ...chapter, name: 'Second hop' }, start_ms)).toBe('2: Second hop');
  expect(chapter_words({ ...chapter, liftoff_s: NaN }, start_ms)).toBe('2: not flown');
  expect(chapter_words({ ...chapter, name: 'Second hop', liftoff_s: NaN }, start_ms)).toBe('2: Second hop, not flown');
});

it.each([
  [recorder, 'Recording'],
  [{ ...recorder, recording: false }, 'Not recording'],
  [{ ...recorder, fault: 'the disk is full' }, 'Recording fault: the disk is full'],
])('says of the recorder %j: %s', (state, text) => expect(recorder_words(state)).toBe(text));

it('says why there is no connection, and what is on screen meanwhile', () => {
  expect(connection_words('connecting', 'unknown', true)).toEqual(['Connecting to the ground station.']);
  expect(connection_words('waiting', 'viewer_limit', true)).toEqual([
    'Viewer limit reached. Trying again.',
    'Showing the last data received.',
  ]);
  expect(connection_words('waiting', 'offline', false)).toEqual(['This device is offline.']);
});

it('speaks of the connection in the lines of links', () => {
  for (const state of Object.values(kConnectionLine)) expect(link_line(state).path).not.toBe('');
});

it.each([
  [{ code: 'marker_added', level: 'note' }, 'Marker added.'],
  [{ code: 'failed', level: 'caution', failure: new Error('wrong key') }, 'wrong key'],
  [
    { code: 'history_missing', level: 'caution', failure: new NoAnswer() },
    'Part of the history is missing: The ground station did not answer.',
  ],
] as const)('says of %j: %s', (notice, text) => expect(notice_words(notice)).toBe(text));
