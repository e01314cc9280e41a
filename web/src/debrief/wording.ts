/** Words that every view of the debrief uses. */
import type { Flight } from '../stream/flights';
import { flight_name } from '../text/dates';
import { format_fixed } from '../text/format';
import type { JobStage } from './job.svelte';

export const kJobWords = {
  stop: 'Stop',
  again: 'Try again',
  stopped: 'Stopped.',
} as const;

/** "Comparing flights: 40 %". */
export const progress_words = (what: string, stage: JobStage, fraction: number): string =>
  stage === 'waiting' ? `${what}: waiting for its turn` : `${what}: ${format_fixed(100 * fraction, 0)} %`;

export const flight_title = ({ name, liftoff_ms }: Pick<Flight, 'name' | 'liftoff_ms'>): string =>
  flight_name(name, liftoff_ms);

export const kDebriefWords = {
  back: 'Back to flights',
  cursor: 'Cursor',
  whole: 'Show all',
  loading: 'Reading the log book',
} as const;
