/** Which view is shown, and of which recording, kept in the address so that a link or a reload leads back to it. */
import type { FlightSeconds, TapeSeconds } from '../stream/clocks';

export const kViews = [
  'crew',
  'watch',
  'recover',
  'antenna',
  'flights',
  'test',
  'ready',
  'machines',
  'join',
  'help',
] as const;
/** Pages of the log book about flights that are chosen there; their addresses lie below its own. */
export const kFlightPages = ['compare', 'response', 'performance'] as const;
export type FlightPage = (typeof kFlightPages)[number];
export type ViewName = (typeof kViews)[number] | FlightPage;

export interface Route {
  view: ViewName;
  /** Id of the recording that is replayed; undefined: live. */
  recording: string | undefined;
  /** What stands behind a question mark: a link to one position of the poll has its name and key there. */
  query: string;
  /** Where on its tape to begin; NaN: at its start. */
  at_s: TapeSeconds;
  /** Id of the flight that is replayed, or that a page is about; undefined: none. */
  flight: string | undefined;
  /** Where in the flight; NaN: at its begin. */
  flight_s: FlightSeconds;
}

/** Parts of a flight's id; undefined: it is not one. */
export function flight_parts(id: string): { recording: string; vehicle: string; number: number } | undefined {
  const found = /^(.+)~([^~]+)~(\d+)$/.exec(id);
  return found ? { recording: found[1] ?? '', vehicle: found[2] ?? '', number: Number(found[3]) } : undefined;
}

/** Two people at a laptop get the crew's view; a phone, upright or on its side, what is to be watched. */
const kWide = '(width >= 900px) and (height >= 500px)';

const number_in = (text: string | null): number => (text === null || text === '' ? NaN : Number(text));

export function read_route(hash: string, wide: boolean): Route {
  const [path = '', query = ''] = hash.replace(/^#\/?/, '').split('?');
  const [name, id, page] = path.split('/');
  const usual = wide ? 'crew' : 'watch';
  const view = kViews.find((known) => known === name) ?? usual;
  const recording = id ? decode(id) : undefined;
  const given = new URLSearchParams(query);
  const none = {
    recording,
    query: given.has('position') ? query : '',
    at_s: number_in(given.get('at')),
    flight: undefined,
    flight_s: NaN,
  };
  if (view !== 'flights' || recording === undefined) return { ...none, view };
  if (recording === 'compare') return { ...none, view: 'compare', recording: undefined, query };
  const parts = flight_parts(recording);
  if (!parts) return { ...none, view };
  const about = kFlightPages.find((known) => known === page);
  if (about) return { ...none, view: about, recording: undefined, flight: recording };
  return {
    ...none,
    view: kViews.find((known) => known === given.get('view') && known !== 'flights') ?? usual,
    recording: parts.recording,
    flight: recording,
    flight_s: number_in(given.get('t')),
  };
}

/** A hand-written address may be badly encoded; then it names no recording that exists, and is shown as it is. */
function decode(id: string): string {
  try {
    return decodeURIComponent(id);
  } catch {
    return id;
  }
}

export function address_of(view: ViewName, recording?: string, at_s?: TapeSeconds): string {
  const path = recording === undefined ? `#/${view}` : `#/${view}/${encodeURIComponent(recording)}`;
  return at_s === undefined ? path : `${path}?at=${at_s.toFixed(1)}`;
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

class Router {
  route: Route = $state.raw(this.read());

  constructor() {
    window.addEventListener('hashchange', () => (this.route = this.read()));
  }

  private read(): Route {
    return read_route(location.hash, window.matchMedia(kWide).matches);
  }
}

export const router = new Router();
