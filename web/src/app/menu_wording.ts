/** Words of the menu, the connection, the tape, the recorder and the notices. */
import type { Notice, NoticeCode } from '../station/notice';
import type { ViewName } from '../station/route.svelte';
import type { CloseReason, ConnectionState } from '../stream/connection';
import type { RecorderStatus } from '../stream/messages';
import { utc_at, type UtcMs } from '../stream/clocks';
import type { Chapter } from '../tape/flight/chapters';
import { flight_name } from '../text/dates';
import { format_span } from '../text/format';
import { failure_words } from '../text/failure';
import type { WakeState } from '../device/wake.svelte';

/** The line that a connection which is not open speaks in. */
export const kConnectionLine: Readonly<Record<ConnectionState, string>> = {
  connecting: 'opening',
  open: 'open',
  waiting: 'lost',
  refused: 'cannot_open',
};

const kNoConnection = 'No connection to the ground station.';

const kReasonWords: Readonly<Record<CloseReason, string>> = {
  shutting_down: 'The ground station is shutting down.',
  not_understood: 'The ground station did not understand this page. Reload it.',
  not_served: 'The ground station does not serve this address. Open the one it printed.',
  too_slow: 'This device was too slow to keep up. Reconnecting.',
  viewer_limit: 'Viewer limit reached. Trying again.',
  offline: 'This device is offline.',
  silent: 'The ground station went quiet. Reconnecting.',
  unknown: kNoConnection,
};

export function connection_words(state: ConnectionState, reason: CloseReason, has_tape: boolean): string[] {
  if (state === 'connecting') return ['Connecting to the ground station.'];
  return has_tape ? [kReasonWords[reason], 'Showing the last data received.'] : [kReasonWords[reason]];
}

/** What the views are called. */
export const kViewTitles: Readonly<Record<ViewName, string>> = {
  crew: 'Crew',
  watch: 'Watch',
  recover: 'Recover',
  antenna: 'Antenna',
  test: 'Test',
  ready: 'Ready',
  machines: 'Machines',
  flights: 'Flights',
  join: 'Join',
  help: 'Help',
};

export const kThemeWords = { device: 'Auto', light: 'Light', dark: 'Dark', night: 'Night' } as const;

export const kMenuWords = {
  name: 'Views and settings',
  views: 'Views',
  vehicle: 'Vehicle',
  colours: 'Colours',
  units: 'Units',
  clock: 'Time of day',
  watch: 'Watch',
  spread: 'Show ± beside figures',
  callouts: 'Called out',
  every: 'Altitude every',
  never: 'never',
  captions: 'Show captions while muted',
  close: 'Close',
} as const;
export const kUnitWords = { metric: 'Metric', feet: 'Feet and mph' } as const;
export const kZoneWords = { utc: 'UTC', local: 'Local' } as const;

export const kTapeWords = {
  live: 'Live',
  back: 'Behind live',
  cut_off: 'No connection',
  open: 'Open the tape to look back',
  fold: 'Close the tape',
} as const;

const kWakeWords: Readonly<Record<WakeState, string>> = {
  on: 'This screen stays on while the page is open.',
  off: 'This screen may go dark; the watch view keeps it on.',
  not_secure:
    'This screen may go dark: browsers keep it on only for pages opened over https. Lengthen the screen time-out of the device.',
  not_here: 'This screen may go dark: this browser cannot keep it on. Lengthen the screen time-out of the device.',
  refused: 'This screen may go dark: the device refused to keep it on, as it does when saving its battery.',
};
export const wake_words = (state: WakeState): string => kWakeWords[state];

export function recorder_words(recorder: RecorderStatus): string {
  if (recorder.fault !== '') return `Recording fault: ${recorder.fault}`;
  return recorder.recording ? 'Recording' : 'Not recording';
}

export const viewers_words = (viewers: number): string => (viewers === 1 ? '1 viewer' : `${viewers} viewers`);

export const span_words = (span_s: number): string => `Showing ${format_span(span_s)}`;

export const chapter_words = ({ number, name, liftoff_s }: Chapter, utc_start_ms: UtcMs): string => {
  if (!Number.isNaN(liftoff_s)) return `${number}: ${flight_name(name, utc_at(utc_start_ms, liftoff_s))}`;
  return `${number}: ${name === '' ? '' : `${name}, `}not flown`;
};

/** What is said before the failure, if there is one. */
const kNoticeWords: Readonly<Record<NoticeCode, string>> = {
  unlocked: 'Operator controls are unlocked on this device.',
  logged_out: 'Operator controls are locked on this device.',
  marker_added: 'Marker added.',
  note_added: 'Note added.',
  mark_changed: 'Changed, for everybody.',
  mark_taken_back: 'Taken back, for everybody.',
  flight_named: 'Flight named.',
  recording_started: 'New recording started.',
  saved: 'Saved.',
  acknowledged: 'Acknowledged, for everybody.',
  shelved: 'Shelved.',
  unshelved: 'No longer shelved.',
  copied: 'Copied.',
  countdown: 'Countdown changed.',
  procedure: 'Recorded.',
  step: 'Step recorded.',
  statement: 'Statement recorded.',
  entered: 'Value recorded.',
  asked: 'Position asked.',
  answered: 'Answer recorded.',
  link_made: 'Link made. It is good for one device.',
  bookmarked: 'Bookmark saved in the recording.',
  archived: 'Archived.',
  unarchived: 'Out of the archive.',
  removed: 'Deleted. It can be brought back for a day.',
  restored: 'Brought back.',
  no_connection: kNoConnection,
  unreadable_message: 'A message could not be read:',
  events_missing: 'Earlier events are missing:',
  history_missing: 'Part of the history is missing:',
  failed: '',
};

export function notice_words({ code, failure }: Notice): string {
  return [kNoticeWords[code], failure === undefined ? '' : failure_words(failure)].join(' ').trim();
}
