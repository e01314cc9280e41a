/** Words of the page around the views that stand with the first figures. */
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

export const behind_words = (behind_s: number): string => `${format_duration(behind_s)} behind live`;
