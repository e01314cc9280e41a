/** Words of the list of recordings. */
import type { Recording } from '../stream/description';
import { failure_words } from '../text/failure';

export const kRecordingsWords = {
  rename_needs_key: 'Renaming needs the operator controls: unlock them in the live view.',
  none_yet: 'No recordings yet. One starts with the ground station.',
} as const;

export const count_words = (count: number): string => `${count} in this station's folder, newest first`;
export const failed_words = (error: unknown): string => `The list could not be read. ${failure_words(error)}`;

export function state_words(recording: Recording): string {
  if (recording.damage !== '') return `damaged: ${recording.damage}`;
  if (recording.live) return 'live';
  return recording.closed ? 'closed' : 'ended early';
}
