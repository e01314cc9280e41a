/** Words of the estimate readouts: what numbers, modes and missing inputs are called on the page. Pure. */
import { format_duration, format_fixed, format_sigma, kNoValue } from '../../text/format';

/** Groups of roles first: what a whole triad is called is shorter than its parts. */
const kTogether: readonly (readonly [string, string])[] = [
  ['rate_body_x, rate_body_y and rate_body_z', 'angular rates about all three axes'],
  ['accel_body_x, accel_body_y and accel_body_z', 'accelerations along all three axes'],
  ['mag_body_x, mag_body_y and mag_body_z', 'the magnetic field along all three axes'],
  ['latitude and longitude', 'satellite positions'],
];
const kAlone: ReadonlyMap<string, string> = new Map([
  ['accel_body_x', 'acceleration along the long axis'],
  ['accel_body_y', "acceleration along the body's y axis"],
  ['accel_body_z', "acceleration along the body's z axis"],
  ['rate_body_x', 'roll rate'],
  ['rate_body_y', "angular rate about the body's y axis"],
  ['rate_body_z', "angular rate about the body's z axis"],
  ['mag_body_x', 'magnetic field along the long axis'],
  ['mag_body_y', "magnetic field along the body's y axis"],
  ['mag_body_z', "magnetic field along the body's z axis"],
  ['static_pressure', 'static pressure'],
  ['air_temperature', 'air temperature'],
  ['latitude', 'latitude'],
  ['longitude', 'longitude'],
  ['height_ellipsoid', 'height above the ellipsoid'],
  ['height_msl', 'height above mean sea level'],
  ['velocity_east', 'velocity east'],
  ['velocity_north', 'velocity north'],
  ['velocity_up', 'velocity up'],
  ['fix_type', 'kind of satellite fix'],
  ['battery_voltage', 'battery voltage'],
  ['onboard_altitude', 'on-board altitude'],
  ['onboard_vertical_speed', 'on-board vertical speed'],
  ['wind_speed', 'wind speed'],
  ['wind_from', 'wind direction'],
  ['engine_speed', 'engine speed'],
]);

/** A sentence with dictionary roles in it, with each role said in plain words. */
export function in_plain_words(sentence: string): string {
  let plain = sentence;
  for (const [roles, words] of kTogether) plain = plain.replaceAll(roles, words);
  return plain.replace(/\b[a-z]+(?:_[a-z]+)+\b/g, (word) => kAlone.get(word) ?? word);
}

/**
 * "Sanderling has no static_pressure, so there is no estimate "air"." to "static pressure"; a sentence of another
 * shape stays whole. Empty for an empty one.
 */
export function needed_input(sentence: string): string {
  const roles = /\bhas no (.+?), so there is no\b/.exec(sentence)?.[1];
  return in_plain_words(roles ?? sentence);
}

/** Three digits, as a compass bearing is read out: 7 is "007°". */
export function format_bearing(deg: number, decimals = 0): string {
  if (!Number.isFinite(deg)) return kNoValue;
  const scale = 10 ** decimals;
  const turned = (((Math.round(deg * scale) / scale) % 360) + 360) % 360;
  return `${format_fixed(turned, decimals).padStart(decimals > 0 ? 4 + decimals : 3, '0')}°`;
}

/** Degrees clockwise from true north of a horizontal vector, [0, 360); NaN for none. */
export function bearing_deg(east: number, north: number): number {
  if (east === 0 && north === 0) return NaN;
  return ((Math.atan2(east, north) * 180) / Math.PI + 360) % 360;
}

/** "393 to 431 m". */
export function format_interval(low: number, high: number, unit: string, decimals = 0): string {
  if (!Number.isFinite(low) || !Number.isFinite(high)) return '';
  return `${format_fixed(low, decimals)} to ${format_fixed(high, decimals)} ${unit}`;
}

/** Time still to go: "in 6.3 s", "in 1 min 20 s", "now". Empty when unknown. */
export function format_to_go(t_s: number): string {
  if (!Number.isFinite(t_s)) return '';
  if (t_s < 0.05) return 'now';
  return t_s < 20 ? `in ${format_fixed(t_s, 1)} s` : `in ${format_duration(t_s)}`;
}

/** A share as a percentage that never rounds a risk away: "less than 0.1 %", "2.3 %", "41 %". */
export function format_share(share: number): string {
  if (!Number.isFinite(share)) return '';
  const percent = 100 * share;
  if (percent > 0 && percent < 0.1) return 'less than 0.1 %';
  return percent > 0 && percent < 10 ? `${format_fixed(percent, 1)} %` : `${format_fixed(percent, 0)} %`;
}

/** 1-sigma of a horizontal position as one number: root mean square over east and north. */
export function horizontal_sigma(east: number, north: number): number {
  return Math.sqrt((east * east + north * north) / 2);
}

export function plus_minus(sigma: number, unit: string): string {
  return Number.isFinite(sigma) ? `${format_sigma(unit, sigma)} ${unit}` : '';
}

const kModes: Readonly<Record<string, string>> = {
  aligning: 'Finding its attitude',
  'on the pad': 'Aligned, at rest',
  aided: 'Aided by satellite fixes',
  'dead reckoning': 'Dead reckoning, no fix',
  lost: 'Attitude lost',
  'vertical only': 'Vertical motion only',
};

/** Navigation's mode as a person would say it; a word this page does not know is shown as it came. */
export function mode_in_words(mode: string): string {
  return kModes[mode] ?? mode;
}

/** `half_beams`: 1-sigma of the direction in half beamwidths. */
export function beam_words(half_beams: number): string {
  if (!Number.isFinite(half_beams)) return '';
  if (half_beams < 0.5) return 'within the beam';
  return half_beams < 1 ? 'mostly within the beam' : 'may be outside the beam';
}

export interface Check {
  /** What is checked: "Vertical motion". */
  name: string;
  /** The estimator's own word; empty when it has said nothing yet. */
  word: string;
}

export interface Health {
  rank: number;
  words: string;
}

/** Words of vertical and navigation health, from harmless to grave. */
const kHealth: Readonly<Record<string, Health>> = {
  consistent: { rank: 0, words: '± fits' },
  starting: { rank: 1, words: 'too early to say' },
  'sigmas too large': { rank: 2, words: '± too wide' },
  cautious: { rank: 2, words: '± too wide' },
  overconfident: { rank: 3, words: '± too narrow' },
  'do not believe': { rank: 3, words: 'do not believe it' },
};

export function health_in_words(word: string): Health {
  return kHealth[word] ?? { rank: 1, words: word === '' ? 'too early to say' : word };
}

/** The check that deserves attention first, the first of equals; undefined without any. */
export function worst_of(checks: readonly Check[]): Check | undefined {
  let worst: Check | undefined;
  for (const check of checks) {
    if (!worst || health_in_words(check.word).rank > health_in_words(worst.word).rank) worst = check;
  }
  return worst;
}
