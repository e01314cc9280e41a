/** Words of the page around the views: connection, notices, clocks, recorder and tape. */
import type { CloseReason, ConnectionState } from '../stream/connection';
import { old_words } from '../text/age';
import { format_duration } from '../text/format';

export const kHeaderWords = {
  menu: 'Views and settings',
  replay: 'Replay',
  since_liftoff: 'Since liftoff',
  countdown: 'Countdown',
  held: 'Held',
  utc: 'UTC',
  local: 'Local',
  read_aloud: 'Read aloud',
  mute: 'Mute',
  back_to_live: 'Back to live',
} as const;

export const kBandWords = {
  waiting: 'Waiting for the ground station.',
  nothing: 'Nothing is known of this moment.',
  acknowledge: 'Acknowledge',
} as const;

/** Of a sentence that nothing newer can follow at present. */
export const silent_words = (age_s: number): string => `${old_words(age_s)}: nothing new arrives.`;

export const kViewMissing = 'This view could not be loaded. Reload the page when the ground station answers.';

/** The line that a connection which is not open speaks in. */
export const kConnectionLine: Readonly<Record<ConnectionState, string>> = {
  connecting: 'opening',
  open: 'open',
  waiting: 'lost',
  refused: 'cannot_open',
};

export const kNoConnection = 'No connection to the ground station.';

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

export const behind_words = (behind_s: number): string => `${format_duration(behind_s)} behind live`;
