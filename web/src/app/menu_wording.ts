/** Words of the menu, the tape and the recorder. */
import type { RecorderStatus } from '../stream/messages';
import { format_span } from '../text/format';
import type { WakeState } from './wake.svelte';

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

export function recorder_words(recorder: RecorderStatus): string {
  if (recorder.fault !== '') return `Recording fault: ${recorder.fault}`;
  return recorder.recording ? 'Recording' : 'Not recording';
}

export const viewers_words = (viewers: number): string => (viewers === 1 ? '1 viewer' : `${viewers} viewers`);

export const span_words = (span_s: number): string => `Showing ${format_span(span_s)}`;
