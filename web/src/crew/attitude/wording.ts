/** Words of the attitude. */
import { format_bearing, format_fixed } from '../../text/format';

export const kAttitudeWords = { title: 'Attitude', tilt: 'Tilt', leans: 'Leans to', roll: 'Roll' } as const;

/** What the stroke shows, for who does not see it. */
export const attitude_words = (tilt_deg: number, heading_deg: number): string =>
  `Leans ${format_fixed(tilt_deg, 0)} degrees from the vertical${Number.isNaN(heading_deg) ? '' : `, to ${format_bearing(heading_deg)} true`}`;
