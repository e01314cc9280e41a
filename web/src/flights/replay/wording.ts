/** Words of the controls of a flight that is replayed. */
import type { FlightSeconds } from '../../stream/clocks';
import { clock_words } from './jumps';

export const kReplayWords = {
  name: 'This flight',
  unflown: 'Not flown',
  book: 'Log book',
  jump: 'Jump to',
  loop: 'Loop this window',
  stop_loop: 'Stop looping',
  bookmark: 'Bookmark',
  bookmark_text: 'Bookmark: what happens here',
  save: 'Save',
  cancel: 'Cancel',
  lead: 'Lead',
  end: 'Stop leading',
  follow: 'Follow',
  let_go: 'Let go',
  link: 'Copy link',
  export: 'Export',
  performance: 'Drag, motor, parachutes',
  response: 'Control response',
  report: 'Report',
  more: 'More',
  less: 'Less',
  unlock_first: 'Bookmarks and leading need the operator controls.',
} as const;

export const loop_words = (from_s: FlightSeconds, to_s: FlightSeconds): string =>
  `${clock_words(from_s)} to ${clock_words(to_s)}, again and again`;

/** `by`: initials of who leads; undefined: nobody does. */
export function led_words(leading: boolean, following: boolean, by: string | undefined): string {
  if (leading) return 'You lead: who follows sees this moment.';
  const who = by === '' || by === undefined ? 'Somebody' : by;
  if (following) return by === undefined ? 'Following. Nobody leads yet.' : `${who} leads. Move the tape to let go.`;
  return by === undefined ? '' : `${who} leads a debrief.`;
}
