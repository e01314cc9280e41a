/** Words of the deployment watch. */
import type { Opening } from '../../stream/description';
import { format_fixed } from '../../text/format';

export const kDeploymentWords = {
  title: 'Deployment watch',
  parachute: 'Deployment',
  state: 'State',
  opens: 'Opens',
  charge: 'Charge',
  seen: 'Seen',
  expected: 'Expected',
  measured: 'Measured',
  none: 'none',
  now: 'now',
  axis: 'fall rate, m/s',
  no_watch: 'This recording has no deployment watch.',
  not_yet: 'No deployment watch yet.',
} as const;

/** "apogee", "180 m": on the way down. The delay from there is a moment; what counts is when it was to be seen. */
export const opens_words = ({ below_m }: Opening): string =>
  Number.isNaN(below_m) ? 'apogee' : `${format_fixed(below_m, 0)}\u00a0m`;

export const mean_words = (rate: string): string => `${rate} mean`;

export const due_in_words = (in_s: number): string => `due in ${Math.max(0, in_s).toFixed(0)} s`;

/** What the ruler shows, for who does not see it. */
export function ruler_words(rate_mps: number, under: string): string {
  if (Number.isNaN(rate_mps)) return 'Fall rate not known';
  const place = under === '' ? 'outside every expected band' : `inside the band expected: ${under}`;
  return `Fall rate ${rate_mps.toFixed(0)} metres per second, ${place}`;
}
