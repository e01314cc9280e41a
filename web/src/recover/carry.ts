/** A place in the forms that other programs take: a geo URI (RFC 5870) and a GPX 1.1 waypoint. Only the vehicle's, never the viewer's. */
import type { UtcMs } from '../stream/clocks';
import type { GeoPoint } from '../stream/description';

const kDecimals = 6; // 0.1 m

/** A plain decimal, without exponent, without minus before nothing. */
const decimal = (value: number, decimals: number): string => {
  const text = value.toFixed(decimals);
  return Number(text) === 0 ? (0).toFixed(decimals) : text;
};

/** GPX takes longitudes below 180; the same meridian has two names. */
const longitude_text = (deg: number): string => decimal(deg >= 180 ? deg - 360 : deg, kDecimals);

/** The altitude stays out: the URI's is above the ellipsoid, the vehicle's above sea level. */
export function geo_uri(point: GeoPoint, sigma_m: number): string {
  const unsure = Number.isFinite(sigma_m) ? `;u=${decimal(Math.max(1, sigma_m), 0)}` : '';
  return `geo:${decimal(point.latitude_deg, kDecimals)},${longitude_text(point.longitude_deg)}${unsure}`;
}

export interface Waypoint extends GeoPoint {
  name: string;
  description: string;
  /** Above sea level; NaN: not known. */
  altitude_msl_m: number;
  /** NaN: not known. */
  utc_ms: UtcMs;
}

const kEscapes: Readonly<Record<string, string>> = {
  '&': '&amp;',
  '<': '&lt;',
  '>': '&gt;',
  '"': '&quot;',
  "'": '&apos;',
};

/** What XML 1.0, section 2.2, has no place for; a name comes from a file that somebody wrote. */
const printable = (code: number): boolean =>
  code === 0x9 ||
  code === 0xa ||
  code === 0xd ||
  (code >= 0x20 && code < 0xd800) ||
  (code >= 0xe000 && code < 0xfffe) ||
  code > 0xffff;

const escaped = (text: string): string =>
  [...text]
    .filter((letter) => printable(letter.codePointAt(0) ?? 0))
    .map((letter) => kEscapes[letter] ?? letter)
    .join('');

function waypoint(point: Waypoint): string {
  const parts = [
    Number.isFinite(point.altitude_msl_m) ? `<ele>${decimal(point.altitude_msl_m, 1)}</ele>` : '',
    Number.isFinite(point.utc_ms) ? `<time>${new Date(point.utc_ms).toISOString()}</time>` : '',
    `<name>${escaped(point.name)}</name>`,
    `<desc>${escaped(point.description)}</desc>`,
  ];
  const at = `lat="${decimal(point.latitude_deg, kDecimals)}" lon="${longitude_text(point.longitude_deg)}"`;
  return `  <wpt ${at}>${parts.join('')}</wpt>\n`;
}

export const gpx_document = (points: readonly Waypoint[]): string =>
  '<?xml version="1.0" encoding="UTF-8"?>\n' +
  '<gpx version="1.1" creator="Turnstone" xmlns="http://www.topografix.com/GPX/1/1">\n' +
  `${points.map(waypoint).join('')}</gpx>\n`;
