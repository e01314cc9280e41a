/** Words of the page around the views: connection, notices, clocks, recorder and tape. */
import type { Notice, NoticeCode } from '../station/notice';
import type { CloseReason, ConnectionState } from '../stream/connection';
import type { RecorderStatus } from '../stream/messages';
import { failure_words } from '../text/failure';
import { format_duration, format_span } from '../text/format';
import type { WakeState } from './wake.svelte';

export const kThemeWords = { device: 'Auto', light: 'Light', dark: 'Dark', night: 'Night' } as const;

export const kHeaderWords = {
  menu: 'Views and settings',
  replay: 'Replay',
  since_liftoff: 'Since liftoff',
  utc: 'UTC',
  local: 'Local',
  read_aloud: 'Read aloud',
  mute: 'Mute',
  back_to_live: 'Back to live',
} as const;

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
  back: 'Looking back',
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

export const kBandWords = { waiting: 'Waiting for the ground station.' } as const;

/** Of a sentence that nothing newer can follow at present. */
export const old_words = (age_s: number): string => `${format_duration(age_s)} old: nothing new arrives.`;

export const kViewMissing = 'This view could not be loaded. Reload the page when the ground station answers.';

export const kReceivesOnly =
  'Turnstone only receives: it cannot command, arm or fire anything. The range safety officer decides.';

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

/** What is said before the failure, if there is one. */
const kNoticeWords: Readonly<Record<NoticeCode, string>> = {
  unlocked: 'Operator controls are unlocked on this device.',
  logged_out: 'Operator controls are locked on this device.',
  marker_added: 'Marker added.',
  note_added: 'Note added.',
  recording_started: 'New recording started.',
  saved: 'Saved.',
  no_connection: kNoConnection,
  unreadable_message: 'A message could not be read:',
  events_missing: 'Earlier events are missing:',
  history_missing: 'Part of the history is missing:',
  failed: '',
};

export function notice_words({ code, failure }: Notice): string {
  return [kNoticeWords[code], failure === undefined ? '' : failure_words(failure)].join(' ').trim();
}

export function recorder_words(recorder: RecorderStatus): string {
  if (recorder.fault !== '') return `Recording fault: ${recorder.fault}`;
  return recorder.recording ? 'Recording' : 'Not recording';
}

export const viewers_words = (viewers: number): string => (viewers === 1 ? '1 viewer' : `${viewers} viewers`);

export const behind_words = (behind_s: number): string => `${format_duration(behind_s)} behind live`;
export const span_words = (span_s: number): string => `Showing ${format_span(span_s)}`;
