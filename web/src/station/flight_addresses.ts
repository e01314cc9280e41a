/** Addresses of flights and of the log book's pages about them. */
import type { ViewName } from './route.svelte';

/** Pages about one flight. */
export type FlightPage = 'response' | 'performance';

/** Parts of a flight's id; undefined: it is not one. */
export function flight_parts(id: string): { recording: string; vehicle: string; number: number } | undefined {
  const found = /^(.+)~([^~]+)~(\d+)$/.exec(id);
  return found ? { recording: found[1] ?? '', vehicle: found[2] ?? '', number: Number(found[3]) } : undefined;
}

/** A flight as one tape; `view`: the one it is looked at in, undefined: this device's usual one. */
export function flight_address(flight: string, flight_s = NaN, view?: ViewName): string {
  const query = new URLSearchParams();
  if (Number.isFinite(flight_s)) query.set('t', flight_s.toFixed(2));
  if (view !== undefined) query.set('view', view);
  const text = query.toString();
  return `#/flights/${encodeURIComponent(flight)}${text === '' ? '' : `?${text}`}`;
}

export const page_address = (flight: string, page: FlightPage): string =>
  `#/flights/${encodeURIComponent(flight)}/${page}`;

/** `align`: the event at which the flights' clocks start; empty: the usual one. */
export function compare_address(flights: readonly string[], align = ''): string {
  const query = `of=${flights.map(encodeURIComponent).join(',')}`;
  return `#/flights/compare?${query}${align === '' ? '' : `&align=${align}`}`;
}
