/** Words of the operator's controls. */
import type { Status } from '../../stream/messages';
import type { Chapter } from '../../tape/flight/chapters';
import { format_fixed } from '../../text/format';

export const kOperatorWords = {
  title: 'Operator',
  live_only: 'Markers and notes go on the live recording only.',
  key_needed: 'These need the operator key.',
  forget: 'Forget the key on this device',
  hand_over: 'Hand over',
  hand_over_link: 'Link for the next operator’s device',
  hand_over_hint:
    'Good once, for ten minutes. Whoever opens it is the operator then, and this device is not. It gives every right of an operator: show it to nobody else.',
  marker: 'Marker',
  more: 'More',
  close: 'Close',
  undo: 'Undo',
  send: 'Set now',
  canned: 'Markers by one key',
  any: 'Marker with a text of your own',
  note_text: 'Text of a note',
  add_note: 'Add note',
  name_flight: 'Name it',
  recording_name: 'Name of the new recording',
  new_recording:
    'The current recording is closed. No byte is lost between the two, and a flight under way continues in the new one.',
  in_flight: 'A vehicle is in flight. A new recording now cuts its flight in two.',
  start: 'Start recording',
  start_anyway: 'Start recording in flight',
} as const;

/** By the keys 1 to 6: what is marked on a range, in the order of a flight. */
export const kCannedMarkers = ['Range clear', 'Armed', 'Hold', 'Ignition', 'Parachute seen', 'Touchdown seen'] as const;

/** Why markers, notes and new recordings cannot be made; empty when they can. */
export function why_off_words(live: boolean, operator: boolean): string {
  if (!live) return kOperatorWords.live_only;
  return operator ? '' : kOperatorWords.key_needed;
}

/** The flight that a vehicle is on, or its next. */
export const flight_name_words = (vehicle: string, { number, liftoff_s }: Chapter): string =>
  `Name of ${Number.isNaN(liftoff_s) ? 'the next flight' : 'this flight'}, ${vehicle}, number ${number} of this recording`;

const counted = (count: number, one: string, more: string): string => `${count} ${count === 1 ? one : more}`;

/** Who is connected, and how well they keep up. */
export function audience_words({ viewers, audience }: Pick<Status, 'viewers' | 'audience'>): string {
  const { operators, replays, answer_s, left_out, behind } = audience;
  const who = [counted(viewers, 'viewer is connected', 'viewers are connected')];
  if (operators > 0) who.push(counted(operators, 'operator', 'operators'));
  if (replays > 0) who.push(`${replays} in a replay`);
  const parts = [`${who.join(', ')}.`];
  if (Number.isFinite(answer_s)) parts.push(`The slowest answers in ${format_fixed(answer_s, 1)} s.`);
  if (left_out > 0)
    parts.push(`${counted(left_out, 'update', 'updates')} left out for slow ones, ${behind} behind now.`);
  return parts.join(' ');
}
