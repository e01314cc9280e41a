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
export type ViewName = (typeof kViews)[number];

export interface Route {
  view: ViewName;
  /** Id of the recording that is replayed; undefined: live. */
  recording: string | undefined;
  /** What stands behind a question mark: a link to one position of the poll has its name and key there. */
  query: string;
  /** Where on its tape to begin; NaN: at its start. */
  at_s: TapeSeconds;
  /** Id of the flight that is replayed, or that a page of the log book is about; undefined: none. */
  flight: string | undefined;
  /** Which page of the log book; empty: the book itself. */
  page: string;
  /** Where in the flight; NaN: at its begin. */
  flight_s: FlightSeconds;
}

/** Two people at a laptop get the crew's view; a phone, upright or on its side, what is to be watched. */
const kWide = '(width >= 900px) and (height >= 500px)';

export function read_route(hash: string, wide: boolean): Route {
  const [path = '', query = ''] = hash.replace(/^#\/?/, '').split('?');
  const [name, id, page = ''] = path.split('/');
  const given = new URLSearchParams(query);
  const view_of = (word: string | null | undefined): ViewName =>
    kViews.find((known) => known === word) ?? (wide ? 'crew' : 'watch');
  const number_of = (word: string): number => parseFloat(given.get(word) ?? '');
  const recording = id ? decode(id) : undefined;
  const route = {
    view: view_of(name),
    recording,
    query: given.has('position') ? query : '',
    at_s: number_of('at'),
    flight: undefined,
    page,
    flight_s: number_of('t'),
  };
  if (name !== 'flights' || !recording) return route;
  const [of, vehicle] = recording.split('~');
  if (!vehicle) return { ...route, recording: undefined, page: recording, query };
  if (page) return { ...route, recording: undefined, flight: recording };
  return { ...route, view: view_of(given.get('view')), recording: of, flight: recording };
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
