/** Which lines of the log book are shown, and under which day. Pure. */
import { flight_title } from '../debrief/wording';
import type { UtcMs } from '../stream/clocks';
import type { Flight } from '../stream/flights';

export interface Filter {
  /** Every word of it stands somewhere in the line. */
  search: string;
  /** Empty: any. */
  vehicle: string;
  site: string;
  tag: string;
  archived: boolean;
}

export const kNoFilter: Filter = { search: '', vehicle: '', site: '', tag: '', archived: false };

/** What is typed between commas, each once. */
export const tags_in = (typed: string): string[] => [
  ...new Set(
    typed
      .split(',')
      .map((tag) => tag.trim())
      .filter(Boolean),
  ),
];

/** Everything that is written on a flight's line. */
const line_of = (flight: Flight): string =>
  [
    flight_title(flight),
    `flight ${flight.number}`,
    flight.title,
    flight.vehicle,
    flight.site,
    flight.configuration,
    flight.notes,
    ...flight.tags,
    flight.recording,
    flight.worst?.sentence ?? '',
    flight.damage,
  ]
    .join('\n')
    .toLowerCase();

export function shown_flights(flights: readonly Flight[], filter: Filter): Flight[] {
  const words = filter.search.toLowerCase().split(/\s+/).filter(Boolean);
  return flights.filter(
    (flight) =>
      flight.archived === filter.archived &&
      (filter.vehicle === '' || flight.vehicle === filter.vehicle) &&
      (filter.site === '' || flight.site === filter.site) &&
      (filter.tag === '' || flight.configuration === filter.tag || flight.tags.includes(filter.tag)) &&
      (words.length === 0 || words.every((word) => line_of(flight).includes(word))),
  );
}

export interface Day {
  /** As the heading says it: the date and where. */
  words: string;
  flights: Flight[];
}

/** Newest first, days as `words_of` divides them. */
export function by_day(flights: readonly Flight[], words_of: (liftoff_ms: UtcMs, site: string) => string): Day[] {
  const days: Day[] = [];
  const newest_first = [...flights].sort((a, b) => order(b.liftoff_ms) - order(a.liftoff_ms));
  for (const flight of newest_first) {
    const words = words_of(flight.liftoff_ms, flight.site);
    const last = days.at(-1);
    if (last?.words === words) last.flights.push(flight);
    else days.push({ words, flights: [flight] });
  }
  return days;
}

/** One whose time nobody knows stands last. */
const order = (ms: UtcMs): number => (Number.isFinite(ms) ? ms : -Infinity);

/** What there is to choose from, in order, without what is empty. */
export const choices = (values: readonly string[]): string[] =>
  [...new Set(values)].filter((value) => value !== '').sort((a, b) => a.localeCompare(b));

/** One scale for every small curve. */
export interface CurveScale {
  longest_s: number;
  highest_m: number;
}

export function scale_of(flights: readonly Flight[]): CurveScale {
  let [longest_s, highest_m] = [1, 1];
  for (const { curve } of flights) {
    longest_s = Math.max(longest_s, curve.t_s.at(-1) ?? 0);
    for (const altitude of curve.altitude_m) if (altitude > highest_m) highest_m = altitude;
  }
  return { longest_s, highest_m: 1.05 * highest_m };
}
