/** Words of the log book. */
import { figure_words, landing_words, mean_of } from '../debrief/figures';
import { letter_of } from '../debrief/letters';
import { flight_title } from '../debrief/wording';
import type { Ended, Flight } from '../stream/flights';
import { failure_words } from '../text/failure';
import { format_date } from '../text/dates';
import { format_fraction, format_time_of_day, type ClockZone } from '../text/format';

export const kBookWords = {
  title: 'Log book',
  none_yet: 'No flights yet. One is written here when a vehicle leaves the rail.',
  none_found: 'No flight in the log book fits.',
  search: 'Search',
  search_hint: 'name, note, tag',
  all_vehicles: 'All vehicles',
  all_sites: 'All sites',
  all_tags: 'All tags',
  archive: 'Show the archive',
  leave_archive: 'Leave the archive',
  import: 'Import an on-board log',
  clear: 'Clear choice',
  about: 'One scale. ± is one standard deviation.',
  compare: 'Compare',
  replay: 'Replay',
  live: 'View live',
  more: 'More',
  less: 'Less',
  undo: 'Undo',
  unread: 'More recordings are being read.',
  follow: 'Follow',
  unlock_first: 'Writing in the log book needs the operator controls.',
  unflown: 'Recordings without a flight',
  unflown_about: 'Nothing left the rail in these, or their file cannot be read.',
} as const;

/** Heads of the columns. */
export const kColumnWords = {
  flight: 'Flight',
  altitude: 'Altitude',
  apogee: 'Apogee AGL',
  landing: 'Landing',
  duration: 'Duration',
  lost: 'Lost',
  notes: 'Notes, tags',
} as const;

export const kLineWords = {
  name: 'Name',
  notes: 'Notes',
  tags: 'Tags, with commas between',
  configuration: 'Configuration',
  save: 'Save',
  report: 'Report',
  export: 'Export',
  response: 'Control response',
  performance: 'Drag, motor, parachutes',
  download: 'Download recording',
  archive: 'Archive',
  unarchive: 'Take out of the archive',
  no_note: 'No note',
  raw_replay: 'Replay the whole recording',
} as const;

const kEndedWords: Readonly<Record<Ended, string>> = {
  touchdown: 'touchdown',
  impact: 'impact',
  presumed_down: 'presumed down',
  presumed_impact: 'presumed impact',
  under_way: 'not seen down',
};
export const ended_words = (ended: Ended): string => kEndedWords[ended];

export const lost_words = (fraction: number): string =>
  Number.isFinite(fraction) ? (fraction === 0 ? '0 %' : format_fraction(fraction, 'under ')) : '–';

/** "25 Nov 2026 · Lantern Flat". */
export const day_words = (ms: number, site: string, zone: ClockZone): string =>
  [Number.isFinite(ms) ? format_date(ms, zone) : 'Day not known', site].filter((part) => part !== '').join(' · ');

/** "14:15 UTC". */
export const time_words = (ms: number, zone: ClockZone): string =>
  Number.isFinite(ms) ? `${format_time_of_day(ms, zone).slice(0, 5)}${zone === 'utc' ? ' UTC' : ''}` : '';

export const remove_words = (flights: number): string =>
  flights > 1 ? `Delete recording, ${flights} flights` : 'Delete';

export const removed_words = (title: string, until_ms: number, zone: ClockZone): string =>
  `${title} deleted. It can be brought back until ${format_date(until_ms, zone)}, ${time_words(until_ms, zone)}.`;

export const kept_words = (recording: string, damage: string, ended: string): string =>
  [recording, damage === '' ? ended : `damaged: ${damage}`].filter((part) => part !== '').join(' · ');

export const failed_words = (error: unknown): string => `The log book could not be read. ${failure_words(error)}`;

export const compare_words = (count: number): string =>
  `Compare ${Array.from({ length: count }, (_, i) => letter_of(i)).join(', ')}`;

const count_words = (count: number): string => (count === 1 ? '1 flight' : `${count} flights`);

/** What the log book says first: of those chosen, or of the newest. */
export function book_sentence(flights: readonly Flight[], chosen: readonly Flight[], archived: boolean): string {
  const [first, second] = chosen;
  if (first && second) {
    const { mean, sd } = mean_of(chosen.map((flight) => flight.figures.get('apogee_m')?.value ?? NaN));
    const apogee = Number.isFinite(mean) ? ` Their apogee ${figure_words('m', mean, sd)} AGL.` : '';
    return `${chosen.length} of ${count_words(flights.length)} chosen.${apogee}`;
  }
  if (first) return `${flight_title(first)} chosen. Choose another to compare it with.`;
  if (archived) return `${count_words(flights.length)} in the archive.`;
  const newest = flights.reduce<Flight | undefined>(
    (best, one) => (best && best.liftoff_ms >= one.liftoff_ms ? best : one),
    undefined,
  );
  if (!newest) return kBookWords.none_yet;
  const apogee = newest.figures.get('apogee_m');
  const parts = [
    `${count_words(flights.length)} in the log book.`,
    apogee && Number.isFinite(apogee.value)
      ? `The newest reached ${figure_words('m', apogee.value, apogee.sigma)} AGL`
      : 'Of the newest no apogee is known',
  ];
  const landing = landing_words(newest.figures);
  return `${parts.join(' ')}${landing === '' ? '.' : ` and came down ${landing}.`}`;
}
