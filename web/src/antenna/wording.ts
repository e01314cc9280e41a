/** Words of the antenna view. */
import type { CompassState } from '../device/compass.svelte';
import { turn_deg } from '../places/geodesic';
import { format_age, format_bearing, format_fixed } from '../text/format';
import type { Sweep } from './sweep';

export const kWords = {
  azimuth: 'Azimuth, magnetic',
  elevation: 'Elevation',
  any: 'any',
  overhead: 'Overhead. Point straight up; any direction.',
  no_meaning: 'has no meaning above 80°',
  on_it: 'on it',
  moves: 'Moves',
  strength: 'Strength',
  loss: 'Packet loss',
  loss_over: 'last 10 s',
  no_packets: 'no packets',
  not_sent: 'not sent by this vehicle',
  mark: 'Held toward',
  mark_now: 'I point at it now',
  mark_compass: 'Compass of this device',
  mark_typed: 'Type it',
  mark_none: 'No mark',
  mark_take: 'Use it',
  typed_azimuth: 'Azimuth, magnetic °',
  typed_elevation: 'Elevation °',
  tone_on: 'Tone on',
  tone_off: 'Tone off',
  tone_note: 'One steady tone: on it. Two that part: off by more. Silence: no direction.',
  strap: 'Strap this device flat along the boom, its upper end forward.',
  choose: 'Choose what the antenna is held toward, and the page says how far to turn.',
} as const;

export const kCompassOffWords: Readonly<Record<CompassState, string>> = {
  asks: '',
  refused: 'This device does not let the page use its compass.',
  not_secure: 'The compass is off: browsers give it to secure pages alone, and this one came over plain http.',
  listening: '',
  none: 'This device gives no compass heading.',
};

/** Whole degrees; cues are rounded to what the mark is good for. */
const rounded = (deg: number, step_deg: number): number => Math.round(Math.abs(deg) / step_deg) * step_deg;

export function turn_words(turn_deg: number, step_deg: number): string {
  if (!Number.isFinite(turn_deg)) return '';
  const deg = rounded(turn_deg, step_deg);
  return deg === 0 ? kWords.on_it : `${turn_deg > 0 ? 'right' : 'left'} ${deg}°`;
}

export function raise_words(raise_deg: number, step_deg: number): string {
  if (!Number.isFinite(raise_deg)) return '';
  const deg = rounded(raise_deg, step_deg);
  return deg === 0 ? kWords.on_it : `${raise_deg > 0 ? 'up' : 'down'} ${deg}°`;
}

/** "right, down 1": the larger of both rates is the figure, this says where to. */
export function rate_words(right_degps: number, up_degps: number): string {
  const side = Number.isFinite(right_degps) ? `${right_degps >= 0 ? 'right' : 'left'} ${rounded(right_degps, 1)}` : '';
  const height = Number.isFinite(up_degps) ? `${up_degps >= 0 ? 'up' : 'down'} ${rounded(up_degps, 1)}` : '';
  return [side, height].filter((part) => part !== '').join(', ');
}

/** A prediction is known to 5°, a place that was found to 1°. */
const to_5 = (deg: number): string => format_bearing(Math.round(deg / 5) * 5);

/** What lies within the beam needs no sweep. */
export function sweep_words(
  sweep: Sweep | undefined,
  last_deg: number,
  high_deg: number,
  beamwidth_deg: number,
): string {
  const up = Number.isFinite(high_deg)
    ? `elevation 0° to ${format_fixed(Math.max(5, Math.ceil(high_deg / 5) * 5), 0)}°`
    : 'from the horizon up';
  if (sweep?.all_round) return `Sweep all round, ${up}: it may be down near the station.`;
  const wide_deg = sweep ? turn_deg(sweep.from_deg, sweep.to_deg) : NaN;
  if (sweep && wide_deg > 0 && wide_deg <= beamwidth_deg / 2)
    return `Point at ${to_5(sweep.from_deg + wide_deg / 2)}, ${up}: where it is likely to come down.`;
  if (sweep) return `Sweep ${to_5(sweep.from_deg)} to ${to_5(sweep.to_deg)}, ${up}: where it is likely to come down.`;
  if (Number.isFinite(last_deg)) return `Point at ${format_bearing(last_deg)}, the last good place, ${up}.`;
  return 'No landing is predicted and no place was received: sweep all round.';
}

export const lost_words = (age_s: number): string => `No signal for ${format_age(age_s)}.`;

export const unplaced_words = (pad_deg: number): string =>
  Number.isFinite(pad_deg) ? `No position yet. Point at the pad, ${format_bearing(pad_deg)}.` : 'No position yet.';

export const below_words = (toward_deg: number, in_s: number): string => {
  const where = Number.isFinite(toward_deg) ? `next: toward ${to_5(toward_deg)}` : '';
  const when = Number.isFinite(in_s) ? `below 80° in about ${format_fixed(in_s, 0)} s` : '';
  return [where, when].filter((part) => part !== '').join(', ');
};

/** "8 below best". */
export function below_best_words(value: number, best: number): string {
  if (!Number.isFinite(value) || !Number.isFinite(best)) return '';
  const below = Math.round(best - value);
  return below <= 0 ? 'best so far' : `${below} below best`;
}
