/** Which view is shown, and of which recording, kept in the address so that a link or a reload leads back to it. */
import type { TapeSeconds } from '../stream/clocks';

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
  /** What stands after the view: the recording's id, or that of a flight in it (station/flight_addresses.ts). */
  of: string | undefined;
  /** And after that: a page about it. */
  page: string;
  /** What stands behind a question mark: a link to one position of the poll has its name and key there. */
  query: string;
  /** Where on its tape to begin; NaN: at its start. */
  at_s: TapeSeconds;
}

/** Two people at a laptop get the crew's view; a phone, upright or on its side, what is to be watched. */
export const kWide = '(width >= 900px) and (height >= 500px)';

export function read_route(hash: string, wide: boolean): Route {
  const [path = '', query = ''] = hash.replace(/^#\/?/, '').split('?');
  const [name, id, page = ''] = path.split('/');
  const view = kViews.find((known) => known === name) ?? (wide ? 'crew' : 'watch');
  const at_s = Number(/^at=(.+)$/.exec(query)?.[1] ?? NaN);
  const of = id ? decode(id) : undefined;
  return { view, recording: of?.split('~')[0], of, page, query, at_s };
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
