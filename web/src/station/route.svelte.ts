/** Which view is shown, kept in the address so that a link or a reload leads back to it. */
export type Route = { view: 'live' } | { view: 'recordings' } | { view: 'replay'; id: string };

function read(): Route {
  const parts = location.hash.replace(/^#\/?/, '').split('/');
  if (parts[0] === 'recordings') return { view: 'recordings' };
  if (parts[0] === 'replay' && parts[1]) return { view: 'replay', id: decodeURIComponent(parts[1]) };
  return { view: 'live' };
}

class Router {
  route: Route = $state.raw(read());

  constructor() {
    window.addEventListener('hashchange', () => (this.route = read()));
  }
}

export const router = new Router();
export const replay_address = (id: string): string => `#/replay/${encodeURIComponent(id)}`;
