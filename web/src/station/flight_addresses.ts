/** Addresses of flights and of the log book's pages about them. */
import type { FlightSeconds } from '../stream/clocks';
import { kViews, kWide, read_route, type ViewName } from './route.svelte';

/** Pages about one flight. */
export type FlightPage = 'response' | 'performance';

/** Parts of a flight's id; undefined: it is not one. */
export function flight_parts(id = ''): { recording: string; vehicle: string; number: number } | undefined {
  const found = /^(.+)~([^~]+)~(\d+)$/.exec(id);
  return found ? { recording: found[1] ?? '', vehicle: found[2] ?? '', number: Number(found[3]) } : undefined;
}

/** What this device shows when an address does not say. */
const usual_view = (): ViewName => read_route('', window.matchMedia(kWide).matches).view;

/** The moment of a flight, for here and elsewhere: whoever opens it sees it in their own usual view. */
export function flight_address(flight: string, flight_s = NaN, view?: ViewName): string {
  const query = new URLSearchParams();
  if (Number.isFinite(flight_s)) query.set('t', flight_s.toFixed(2));
  if (view !== undefined && view !== usual_view()) query.set('view', view);
  const text = query.toString();
  return `#/flights/${encodeURIComponent(flight)}${text === '' ? '' : `?${text}`}`;
}

/** The same in one view, which is where such an address leads. */
export function view_address(flight: string, query: string): string {
  const given = new URLSearchParams(query);
  const view = kViews.find((known) => known === given.get('view') && known !== 'flights') ?? usual_view();
  const t = given.get('t');
  return `#/${view}/${encodeURIComponent(flight)}${t === null ? '' : `?t=${encodeURIComponent(t)}`}`;
}

/** Where in the flight an address begins; NaN: at the flight's begin. */
export const flight_time_of = (query: string): FlightSeconds => parseFloat(new URLSearchParams(query).get('t') ?? '');

export const page_address = (flight: string, page: FlightPage): string =>
  `#/flights/${encodeURIComponent(flight)}/${page}`;

/** `align`: the event at which the flights' clocks start; empty: the usual one. */
export function compare_address(flights: readonly string[], align = ''): string {
  const query = `of=${flights.map(encodeURIComponent).join(',')}`;
  return `#/flights/compare?${query}${align === '' ? '' : `&align=${align}`}`;
}
