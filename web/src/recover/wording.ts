/** Words of the recovery view. */
import type { CompassState } from '../device/compass.svelte';
import type { PositionState } from '../device/position.svelte';
import type { Course } from '../places/geodesic';
import type { LiveCharge } from '../places/hazards';
import { capital, format_fixed } from '../text/format';
import type { SeenArea } from '../offline/sighting';
import { age_words } from '../offline/wording';
import { format_direction, format_distance } from './walk';
import type { Start, StartKind } from './start.svelte';

const kSpace = '\u00a0';

export const kStartWords: Readonly<Record<StartKind, string>> = {
  device: 'my place',
  typed: 'typed coordinates',
  parked: 'where I parked',
  pad: 'the pad',
  station: 'the station',
};

/** Why a start has no place. */
export function start_missing_words(kind: StartKind, state: PositionState): string {
  if (kind === 'device') return kPositionWords[state];
  if (kind === 'typed') return 'Type your coordinates.';
  if (kind === 'parked') return 'No parking place is kept on this device.';
  return `The site file does not say where ${kStartWords[kind]} is.`;
}

export const kPositionWords: Readonly<Record<PositionState, string>> = {
  off: 'Your place is not used.',
  asking: 'Waiting for this device to find its place.',
  on: '',
  not_secure:
    'Off: this page came over plain http, and browsers give a position to secure pages alone. Type it instead.',
  not_supported: 'This browser gives no position. Type it instead.',
  refused: 'This device does not let the page know its place. Allow it in the browser, or type it.',
  unavailable: 'This device does not find its place yet. Go into the open, or type it.',
};

export const kCompassWords: Readonly<Record<CompassState, string>> = {
  asks: 'The arrow needs the compass of this device.',
  refused: 'This device does not let the page use its compass: walk by the bearing.',
  not_secure: 'No arrow: browsers give the compass to secure pages alone. Walk by the bearing.',
  listening: '',
  none: 'This device gives no compass heading: walk by the bearing.',
};

/** "From my place, ± 5 m, 2 s old". */
export function start_words(start: Start): string {
  const from = `From ${kStartWords[start.kind]}`;
  if (start.kind !== 'device') return from;
  return `${from}, ±${kSpace}${format_fixed(Math.max(1, start.sigma_m), 0)}${kSpace}m, ${age_words(start.age_s)} old`;
}

/** A prediction is known to tens of metres and 5 degrees. */
const kPredicted_m = 10;
const kPredicted_deg = 5;
const semi = (length_m: number): string =>
  String(Math.max(kPredicted_m, kPredicted_m * Math.ceil(length_m / kPredicted_m)));

const way_words = ({ distance_m, bearing_deg }: Course): string => {
  const { text, unit } = format_distance(distance_m, kPredicted_m);
  return `${text}${kSpace}${unit} at ${format_direction(bearing_deg, kPredicted_deg)}`;
};

/**
 * `from_place`, `from_start`: ways to its middle, with magnetic bearings where the site says the declination. Without a place
 * the walk itself is to its middle.
 */
export function area_words(
  area: SeenArea,
  letter: string,
  from_place: Course | undefined,
  from_start: Course | undefined,
  magnetic: boolean,
): string {
  const size = `95${kSpace}% ellipse ${semi(area.semi_major_m)} × ${semi(area.semi_minor_m)}${kSpace}m (semi-axes)`;
  const predicted = `Predicted ${age_words(area.age_s)} ago.`;
  if (!from_place) return `Search inside ${letter}: ${size}. ${predicted}`;
  const near = from_place.distance_m < Math.max(kPredicted_m, area.semi_minor_m / 2);
  const ways = near ? ['around it'] : [`its middle ${way_words(from_place)} from the last place`];
  if (!near && from_start) ways.push(`${way_words(from_start)} from the start`);
  const north = near ? '' : magnetic ? ', magnetic' : ', true';
  return `Then search inside ${letter}: ${size}, ${ways.join(' and ')}${north}. ${predicted}`;
}

export const kAtRest = 'Measured after touchdown: it lies there, within its ±.';

export const charge_words = ({ title, why }: LiveCharge): string =>
  why === 'conducts'
    ? `${title} still has continuity: its charge may be live.`
    : `${title} not seen to open: its charge may be live.`;

/** Plain cautions for whoever walks up to it. They give no permission and no procedure. */
export const kBeforeTouching: readonly string[] = [
  'The range safety officer decides when anybody walks out, and what is done there.',
  'Hot: the motor case and its nozzle burn skin long after burnout.',
  'Live: a charge that has not fired can fire when it is moved. Stay away from both ends of the airframe until it is made safe.',
  'Pressurised: a tank, or a bay that is still closed, can let go at once. Do not open anything.',
  'A battery that is swollen, hissing or smoking: keep away and upwind.',
  'Never take it from power lines, water or a road by yourself.',
];

export const kWords = {
  middle: 'Middle of the area to search',
  pad_only: 'No fix since liftoff: the last one came from the pad.',
  why_no_place: 'No fix has been received from this vehicle.',
  copy: 'Copy',
  copy_what: 'Copy coordinates',
  copied: 'Copied',
  copy_by_hand: 'Select and copy:',
  open_map: 'Open in a map',
  gpx: 'Save GPX',
  change: 'Change start',
  close: 'Done',
  use_mine: 'Use my place',
  private_: 'Your place stays on this device.',
  park_here: 'I parked here',
  typed_label: 'Latitude and longitude',
  use_typed: 'Start from there',
  ask_compass: 'Use compass',
  tilted: 'Hold this device level.',
  unsure_compass: 'A compass is often 10° off near steel, cars and motors.',
  too_far: 'Too far apart for a bearing: check the coordinates.',
  north_up: 'north',
  before_touching: 'Before you touch it',
  all: 'To collect',
  outline: 'Map, north up: the last good place, the area to search and where the walk starts',
  how: 'How things stand',
  old_place: 'Old: where it was then, not where it is.',
} as const;

/** Where they are is told to people who gave the page a place of their own. */
export function near_words(start: StartKind, predicted: boolean): string {
  const own = start === 'device' || start === 'typed';
  const who = own ? 'You are' : `${capital(kStartWords[start])} is`;
  return `${who} inside ${predicted ? 'the area to search' : 'its ±'}.${own && !predicted ? ' Look around you.' : ''}`;
}

/** "41° magnetic" is read out as it is written; a reader hears where to walk. */
export const arrow_words = (turn: number): string => {
  const deg = Math.round(Math.abs(turn) / 5) * 5;
  if (deg === 0) return 'Arrow over an outline of this device: straight on';
  return `Arrow over an outline of this device: ${deg} degrees to the ${turn > 0 ? 'right' : 'left'} of where it points`;
};

export const kept_words = (age_s: number): string => `kept on this device ${age_words(age_s)} ago`;

export const kept_band_words = (age_s: number): string =>
  `Kept on this device ${age_words(age_s)} ago; station out of range.`;

export const heard_words = (age_s: number, battery_v: number): string => {
  const battery = Number.isFinite(battery_v) ? `, battery ${format_fixed(battery_v, 2)}${kSpace}V then` : '';
  return `Last heard ${age_words(age_s)} ago${battery}.`;
};
