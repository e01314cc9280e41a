/** Coordinates as people read and type them: decimal degrees, and degrees with decimal minutes. */
import type { GeoPoint } from '../stream/description';
import { format_fixed, kNoValue } from './format';

const kDecimals = 5; // 1 m
const kMinuteDecimals = 3; // 2 m

interface Axis {
  name: 'latitude' | 'longitude';
  positive: string;
  negative: string;
  limit_deg: number;
  digits: number;
}
const kLatitude: Axis = { name: 'latitude', positive: 'N', negative: 'S', limit_deg: 90, digits: 2 };
const kLongitude: Axis = { name: 'longitude', positive: 'E', negative: 'W', limit_deg: 180, digits: 3 };

const half = (axis: Axis, negative: boolean): string => (negative ? axis.negative : axis.positive);

function decimal_of(axis: Axis, deg: number): string {
  if (!Number.isFinite(deg)) return kNoValue;
  const digits = Math.abs(deg).toFixed(kDecimals);
  return `${digits}° ${half(axis, deg < 0 && Number(digits) > 0)}`;
}

/** Minutes are rounded before they are parted from degrees, so that no "60.000" comes of it. */
function minutes_of(axis: Axis, deg: number): string {
  if (!Number.isFinite(deg)) return kNoValue;
  const scale = 10 ** kMinuteDecimals;
  const ticks = Math.round(Math.abs(deg) * 60 * scale + 1e-7);
  const whole = Math.floor(ticks / (60 * scale));
  const minutes = (ticks - whole * 60 * scale) / scale;
  const width = kMinuteDecimals + 3;
  const digits = String(whole).padStart(axis.digits, '0');
  return `${digits}° ${minutes.toFixed(kMinuteDecimals).padStart(width, '0')}′ ${half(axis, deg < 0 && ticks > 0)}`;
}

export interface CoordinateText {
  latitude: string;
  longitude: string;
}

/** "41.30559° S", "14.88333° W". */
export const format_decimal = (point: GeoPoint): CoordinateText => ({
  latitude: decimal_of(kLatitude, point.latitude_deg),
  longitude: decimal_of(kLongitude, point.longitude_deg),
});

/** "41° 18.335′ S", "014° 53.000′ W". */
export const format_minutes = (point: GeoPoint): CoordinateText => ({
  latitude: minutes_of(kLatitude, point.latitude_deg),
  longitude: minutes_of(kLongitude, point.longitude_deg),
});

/** As other programs take them from the clipboard: "-41.30559, -14.88333". */
export const plain_coordinates = (point: GeoPoint): string =>
  [point.latitude_deg, point.longitude_deg]
    .map((deg) => format_fixed(deg, kDecimals).replace('\u2212', '-'))
    .join(', ');

/** What was typed, or what is wrong with it, where, and what to type instead. */
export type Parsed = { point: GeoPoint } | { error: string };

const kExamples = '"-41.30559, -14.88333" or "41 18.335 S, 14 53.000 W"';

interface Half {
  letter: string;
  sign: string;
  numbers: string[];
}

/** One coordinate: a sign or a letter before or behind, one or two numbers. */
const kHalf = /^([NSEW])?\s*([+-])?\s*(\d+(?:\.\d+)?)\s*(?:[°\s]\s*(\d+(?:\.\d+)?)\s*['′]?\s*|°?\s*)([NSEW])?$/;

/** Both coordinates, parted by a comma or a semicolon, else behind a letter, else in the middle. */
function parted(text: string): [string, string] | undefined {
  for (const mark of [';', ',']) {
    const parts = text.split(mark).map((part) => part.trim());
    if (parts.length === 2 && parts[0] && parts[1]) return [parts[0], parts[1]];
    if (parts.length > 1) return undefined;
  }
  const lettered = /^([^NSEW]+[NSEW])\s*([^NSEW]+[NSEW])$|^([NSEW][^NSEW]+?)\s*([NSEW][^NSEW]+)$/.exec(text);
  if (lettered) return [lettered[1] ?? lettered[3] ?? '', lettered[2] ?? lettered[4] ?? ''];
  const words = text.split(/\s+/);
  return words.length === 2 ? [words[0] ?? '', words[1] ?? ''] : undefined;
}

function read_half(text: string): Half | undefined {
  const found = kHalf.exec(text);
  if (!found || (found[1] && found[5])) return undefined;
  return {
    letter: found[1] ?? found[5] ?? '',
    sign: found[2] ?? '',
    numbers: found[4] === undefined ? [found[3] ?? ''] : [found[3] ?? '', found[4]],
  };
}

function value_of(axis: Axis, { letter, sign, numbers }: Half): number | string {
  const where = `The ${axis.name}`;
  const [degrees, minutes] = numbers;
  if (letter && sign) return `${where} has a sign and a letter: give one of the two.`;
  if (minutes !== undefined && !letter)
    return `${where} is in degrees and minutes: add ${axis.positive} or ${axis.negative}.`;
  if (minutes !== undefined && degrees?.includes('.'))
    return `${where} has minutes, so its degrees must be a whole number.`;
  if (minutes !== undefined && Number(minutes) >= 60) return `${where} has ${minutes} minutes: they must be below 60.`;
  const deg = Number(degrees) + Number(minutes ?? 0) / 60;
  if (deg > axis.limit_deg) return `${where} is ${degrees}°: it must be at most ${axis.limit_deg}°.`;
  return sign === '-' || letter === axis.negative ? 0 - deg : deg;
}

export function parse_coordinates(typed: string): Parsed {
  const text = typed.replaceAll('\u2212', '-').replaceAll('’', '′').trim().toUpperCase();
  if (text === '') return { error: `Type latitude and longitude, for example ${kExamples}.` };
  if (/["″]/.test(text))
    return { error: 'Seconds are not read: type degrees and decimal minutes, "41 18.335 S, 14 53.000 W".' };
  if ((text.match(/,/g)?.length ?? 0) > 1)
    return { error: 'Write decimals with a point, and a comma only between latitude and longitude.' };
  const halves = parted(text)?.map(read_half);
  const [first, second] = halves ?? [];
  if (!first || !second) return { error: `Not a latitude and a longitude: type them as ${kExamples}.` };
  const swapped = 'EW'.includes(first.letter) && first.letter !== '';
  const [latitude, longitude] = swapped ? [second, first] : [first, second];
  if ('EW'.includes(latitude.letter) && latitude.letter !== '')
    return { error: 'Both are longitudes: one must end in N or S.' };
  if ('NS'.includes(longitude.letter) && longitude.letter !== '')
    return { error: 'Both are latitudes: one must end in E or W.' };
  if (swapped && latitude.letter === '') return { error: 'The longitude comes first: the latitude needs N or S.' };
  const latitude_deg = value_of(kLatitude, latitude);
  if (typeof latitude_deg === 'string') return { error: latitude_deg };
  const longitude_deg = value_of(kLongitude, longitude);
  return typeof longitude_deg === 'string' ? { error: longitude_deg } : { point: { latitude_deg, longitude_deg } };
}
