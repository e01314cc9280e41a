/** Words of the page around the views: connection, clocks, recorder and tape. */
import type { ConnectionState } from '../stream/connection';
import type { RecorderStatus } from '../stream/messages';
import { format_duration, format_span } from '../text/format';

export const kThemeWords = { device: 'Auto', light: 'Light', dark: 'Dark' } as const;

export const kReceivesOnly =
  'Turnstone only receives: it cannot command, arm or fire anything. The range safety officer decides.';

/** The line that a connection which is not open speaks in. */
export const kConnectionLine: Readonly<Record<ConnectionState, string>> = {
  connecting: 'opening',
  open: 'open',
  waiting: 'lost',
  refused: 'cannot_open',
};

export function connection_words(state: ConnectionState, reason: string, has_tape: boolean): string[] {
  if (state === 'connecting') return ['Connecting to the ground station.'];
  return has_tape ? [reason, 'Showing the last data received.'] : [reason];
}

export function recorder_words(recorder: RecorderStatus): string {
  if (recorder.fault !== '') return `Recording fault: ${recorder.fault}`;
  return recorder.recording ? 'Recording' : 'Not recording';
}

export const viewers_words = (viewers: number): string => (viewers === 1 ? '1 viewer' : `${viewers} viewers`);

export const behind_words = (behind_s: number): string => `${format_duration(behind_s)} behind live`;
export const span_words = (span_s: number): string => `Showing ${format_span(span_s)}`;
