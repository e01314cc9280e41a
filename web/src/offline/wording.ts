/** What is said without the station: of what this device keeps, and of a page that should open. */
import { old_words } from '../text/age';
import { format_age, format_fixed, format_utc_time } from '../text/format';
import type { PageKept } from './registration.svelte';
import type { Goal, SeenPlace, Sighting } from './sighting';

const kSpace = '\u00a0';

export const kKeptWords = {
  last_place: 'Last good place',
  no_place: 'No place yet',
  nothing:
    'No connection to the ground station, and nothing is kept on this device yet: it keeps what it sees while it is connected.',
  away: 'Nothing here is live: it is what this device kept. The page goes on by itself when the ground station answers.',
  way: 'Way to it',
} as const;

/** Under a sentence that was said while the station was there. */
export const kept_sentence_words = (title: string, age_s: number): string =>
  `${title}, ${old_words(age_s)}: kept on this device.`;

/** "4 min", "3 h 05 min": how long ago a place was measured. */
export const age_words = (age_s: number): string => format_age(age_s).replace(' ', kSpace);

export function place_words(place: SeenPlace): string {
  const parts = [`${age_words(place.age_s)} old`, `at ${format_utc_time(place.utc_ms)} UTC`];
  if (Number.isFinite(place.sigma_m)) parts.push(`±${kSpace}${format_fixed(Math.max(1, place.sigma_m), 0)}${kSpace}m`);
  else parts.push('± not known');
  if (Number.isFinite(place.altitude_agl_m)) parts.push(`then ${format_fixed(place.altitude_agl_m, 0)}${kSpace}m AGL`);
  return parts.join(', ');
}

export function goal_words({ place, area }: Sighting, goal: Goal | undefined): string {
  if (goal?.predicted && area) return `area to search, predicted ${age_words(area.age_s)} ago`;
  return place ? `${age_words(place.age_s)} old` : kKeptWords.no_place.toLowerCase();
}

export const kPageKeptWords: Readonly<Record<PageKept, string>> = {
  unknown: 'Looking whether this page can be kept on this device.',
  kept: 'This page and the last places are kept on this device: it opens without the station.',
  not_secure:
    'This page came over plain http, so this device does not keep it: out of range it cannot be opened again. Leave it open, or copy the coordinates.',
  not_supported:
    'This browser does not keep pages: out of range it cannot be opened again. Leave it open, or copy the coordinates.',
  not_trusted:
    'This device does not trust the certificate of the station, so it does not keep the page: out of range it cannot be opened again. Leave it open, or copy the coordinates.',
  failed:
    'This device could not keep the page: out of range it may not open again. Reload it near the station, or copy the coordinates.',
};

export const kRefusedWords = 'This device refuses to keep anything, as in a private window: copy the coordinates.';
