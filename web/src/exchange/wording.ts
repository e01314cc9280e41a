/** Words for taking data out of a flight and bringing a log into one. */
import type { ExportFormat } from '../stream/flights';
import { format_fixed } from '../text/format';

export const kExportWords = {
  title: 'Export',
  format: 'As',
  window: 'How much of it',
  whole: 'The whole flight',
  part: 'A part of it, in seconds since liftoff',
  from: 'From',
  to: 'To',
  rows: 'Lines',
  each: 'One for each packet and estimate',
  steady: 'One time base for all, a line every',
  channels: 'Which channels',
  all: 'All of them',
  some: 'Only these',
  columns: 'Single columns',
  now: 'Export',
} as const;

/** What a format is for, in the order in which people look for it. */
export const kFormats: readonly { format: ExportFormat; title: string; words: string }[] = [
  { format: 'csv', title: 'CSV', words: 'for spreadsheets; units in the header' },
  { format: 'jsonl', title: 'JSON Lines', words: 'for scripts; an object a line' },
  { format: 'npz', title: 'NumPy .npz', words: 'an array a column' },
  { format: 'hdf5', title: 'HDF5', words: 'a group a table' },
  { format: 'kml', title: 'KML', words: 'the track and its events, for globes' },
  { format: 'geojson', title: 'GeoJSON', words: 'the track, for maps' },
  { format: 'gpx', title: 'GPX', words: 'the track, for receivers' },
  { format: 'raw', title: 'Raw bytes', words: 'as the links received them' },
];

/** Formats that hold tables: the others say themselves what they hold. */
export const kTabular: ReadonlySet<ExportFormat> = new Set(['csv', 'jsonl', 'npz', 'hdf5']);

export const kImportWords = {
  title: 'Import an on-board log',
  about:
    'What the flight computer wrote itself, as a table (CSV) or as its radio’s packets. It fills the gaps of the radio record, in a new recording.',
  flight: 'Of which flight',
  file: 'File',
  reading: 'Sending the file',
  time: 'Time',
  unit: 'in',
  column: 'Column',
  begins: 'Begins with',
  is_onboard: 'the clock of the radio’s packets, since the same boot',
  save: 'Save as log.json',
  save_about: 'In the vehicle’s folder the next log is read by it.',
  channel: 'Is the channel',
  scale: 'Times',
  skip: 'none of ours',
  align: 'How its clock meets the station’s',
  now: 'Import',
  working: 'Importing',
  packets: 'Its packets are read as the radio’s are.',
  operator: 'Importing needs the operator controls.',
  no_time: 'Say which column is the time.',
  open: 'Open the merged recording',
  more: 'Import another',
} as const;

export const kAlignWords = {
  auto: 'by whatever fits best',
  onboard_time: 'by on-board time',
  acceleration: 'by the shape of the acceleration',
  pressure: 'by the shape of the pressure',
} as const;
export type Align = keyof typeof kAlignWords;

export const kTimeUnits = { s: 'seconds', ms: 'milliseconds', us: 'microseconds' } as const;
export type TimeUnit = keyof typeof kTimeUnits;

/** "Its clock is 12.345 s ahead, ± 2 ms, by on-board time." */
export function alignment_words(method: string, offset_s: number, sigma_s: number): string {
  const by = method === 'onboard_time' ? 'by on-board time' : 'by the shape of what both measured';
  const away = format_fixed(Math.abs(offset_s), 3);
  const side = offset_s < 0 ? 'ahead of' : 'behind';
  const sigma = Number.isFinite(sigma_s) ? `, ±\u202f${format_fixed(1000 * sigma_s, 1)}\u00a0ms` : '';
  return `Matched ${by}: the log’s zero lies ${away}\u00a0s ${side} the recording’s${sigma}.`;
}

/** Empty: of a table, which has none. */
export const packets_words = (both: number, radio: number, log: number, differing: number): string =>
  both + log > 0 ? `${both} packets in both, ${radio} only by radio, ${log} only in the log; ${differing} differ.` : '';

export const gaps_words = (count: number): string =>
  count === 1 ? 'One gap of the radio record is filled.' : `${count} gaps of the radio record are filled.`;
