/** Words of the view for the crew. */
import type { HealthWord } from './estimates/health';

export const kCrewWords = {
  show_estimates: 'Show estimates',
  hide_estimates: 'Hide estimates',
  show_values: 'Values',
  hide_values: 'Hide values',
} as const;

/** "Estimates: consistent, GNSS-aided." */
export const estimates_words = (health: HealthWord | '', mode: string): string =>
  `Estimates: ${[health, mode].filter((part) => part !== '').join(', ') || 'none yet'}.`;
