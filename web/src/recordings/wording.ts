/** Words of the list of recordings. */
import { utc_at } from '../stream/clocks';
import type { Recording } from '../stream/description';
import type { Chapter } from '../tape/flight/chapters';
import { failure_words } from '../text/failure';
import { format_utc_time } from '../text/format';

export const kRecordingsWords = {
  rename_needs_key: 'Renaming needs the operator controls: unlock them in the live view.',
  flights: 'Flights',
  no_flights: 'No liftoff was found in it.',
  loading: 'Loading',
  none_yet: 'No recordings yet. One starts with the ground station.',
} as const;

/** "2: Second hop, Sanderling, 14:36:12 UTC". */
export const flight_words = (recording: Recording, vehicle: string, chapter: Chapter): string => {
  const name = chapter.name === '' ? `Flight ${chapter.number}` : `${chapter.number}: ${chapter.name}`;
  return `${name}, ${vehicle}, ${format_utc_time(utc_at(recording.utc_start_ms, chapter.liftoff_s))} UTC`;
};

export const count_words = (count: number): string => `${count} in this station's folder, newest first`;
export const failed_words = (error: unknown): string => `The list could not be read. ${failure_words(error)}`;

export function state_words(recording: Recording): string {
  if (recording.damage !== '') return `damaged: ${recording.damage}`;
  if (recording.live) return 'live';
  return recording.closed ? 'closed' : 'ended early';
}
