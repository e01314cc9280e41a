/** Words of the deployment watch. */

export const kDeploymentWords = {
  title: 'Deployment watch',
  parachute: 'Deployment',
  state: 'State',
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

export const due_in_words = (in_s: number): string => `due in ${Math.max(0, in_s).toFixed(0)} s`;

/** What the ruler shows, for who does not see it. */
export function ruler_words(rate_mps: number, under: string): string {
  if (Number.isNaN(rate_mps)) return 'Fall rate not known';
  const place = under === '' ? 'outside every expected band' : `inside the band expected: ${under}`;
  return `Fall rate ${rate_mps.toFixed(0)} metres per second, ${place}`;
}
