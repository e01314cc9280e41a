/**
 * Keeps the page's own files and what lies on the map, and gives them when the station does not answer. Nothing else of
 * the station's passes through here: what is below /api/ is left to the network. The build puts the list of files in
 * (vite.config.ts).
 */

/** What of a service worker's scope is used; its library clashes with a page's. */
interface WorkerEvent extends Event {
  waitUntil(work: Promise<unknown>): void;
}
interface RequestEvent extends WorkerEvent {
  readonly request: Request;
  respondWith(answer: Promise<Response>): void;
}
interface WorkerScope {
  readonly clients: { claim(): Promise<void> };
  readonly location: Location;
  skipWaiting(): Promise<void>;
  addEventListener(type: 'install' | 'activate', handler: (event: WorkerEvent) => void): void;
  addEventListener(type: 'fetch', handler: (event: RequestEvent) => void): void;
}
declare const self: WorkerScope;
declare const __TURNSTONE_FILES__: readonly string[];
declare const __TURNSTONE_VERSION__: string;

const kPrefix = 'turnstone-page-';
const kCache = kPrefix + __TURNSTONE_VERSION__;
const kPage = '/';
const kMap = '/api/map'; // roads and fences, for who walks out of range
const kPatienceMs = 3000; // for the newest page; out of range some networks let a request hang for a minute

self.addEventListener('install', (event) => {
  const take_all = async (): Promise<void> => {
    const cache = await caches.open(kCache);
    await cache.addAll(__TURNSTONE_FILES__.map((path) => new Request(path, { cache: 'no-cache' })));
    await cache.add(new Request(kMap, { cache: 'no-cache' })).catch(() => undefined); // an older station has none
    await self.skipWaiting();
  };
  event.waitUntil(take_all());
});

self.addEventListener('activate', (event) => {
  const drop_older = async (): Promise<void> => {
    const names = await caches.keys();
    await Promise.all(
      names.filter((name) => name.startsWith(kPrefix) && name !== kCache).map((name) => caches.delete(name)),
    );
    await self.clients.claim();
  };
  event.waitUntil(drop_older());
});

async function kept(path: string): Promise<Response | undefined> {
  const cache = await caches.open(kCache);
  return cache.match(path, { ignoreVary: true, ignoreSearch: true });
}

/** The newest while the station answers soon, else the one that is kept under this path. */
async function newest(request: Request, path: string): Promise<Response> {
  try {
    const answer = await fetch(request, { signal: AbortSignal.timeout(kPatienceMs) });
    if (!answer.ok) return (await kept(path)) ?? answer;
    if (path === kMap) await (await caches.open(kCache)).put(path, answer.clone());
    return answer;
  } catch (error) {
    const copy = await kept(path);
    if (copy) return copy;
    throw error;
  }
}

self.addEventListener('fetch', (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== 'GET' || url.origin !== self.location.origin) return;
  if (url.pathname === kMap) event.respondWith(newest(request, kMap));
  if (url.pathname.startsWith('/api/')) return;
  if (request.mode === 'navigate') event.respondWith(newest(request, kPage));
  else event.respondWith(kept(url.pathname).then((copy) => copy ?? fetch(request)));
});

export {}; // a module, so that its `self` is its own
