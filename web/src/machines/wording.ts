/** Words of the machines beside the rocket: boat, weather station and whatever else has a dictionary. */
import { format_age } from '../text/format';
import { compass_word } from '../text/viewer';

export const kMachineWords = {
  none: 'No channels of this vehicle are shown.',
  silent: 'nothing received yet',
  acknowledge: 'Acknowledge',
  key: 'Tint: as it should be. Chain line: caution. Full line: warning. The thick stroke is the value; the line at its right the last 10 minutes.',
} as const;

export const heard_words = (age_s: number): string =>
  Number.isFinite(age_s) ? `last heard ${format_age(age_s)} ago` : kMachineWords.silent;

/** "from the south-west" beside a wind's 225°. */
export const from_words = (deg: number): string => `from the ${compass_word(deg)}`;
