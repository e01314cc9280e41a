/** Addresses of views. */
import { beforeAll, expect, it, vi } from 'vitest';
import type * as route from '../../src/station/route.svelte';

let routes: typeof route;
beforeAll(async () => {
  vi.stubGlobal(
    '$state',
    Object.assign((value: unknown) => value, { raw: (value: unknown) => value }),
  );
  vi.stubGlobal('location', { hash: '' });
  vi.stubGlobal('window', { addEventListener: () => undefined, matchMedia: () => ({ matches: false }) });
  routes = await import('../../src/station/route.svelte');
});

it.each([
  ['', true, 'crew', undefined],
  ['', false, 'watch', undefined],
  ['#/crew', false, 'crew', undefined],
  ['#/watch', true, 'watch', undefined],
  ['#/watch/2026-05-16T143205Z-sanderling', true, 'watch', '2026-05-16T143205Z-sanderling'],
  ['#/crew/a%2Fb', true, 'crew', 'a/b'],
  ['#/crew/%E0%A4%A', true, 'crew', '%E0%A4%A'],
  ['#/nowhere', true, 'crew', undefined],
  ['#/crew/a?at=12.5', true, 'crew', 'a', 12.5],
  ['#/crew/a?at=soon', true, 'crew', 'a'],
])('%s on a wide screen (%s) is %s of %s', (hash, wide, view, recording, at_s = NaN) => {
  expect(routes.read_route(hash, wide)).toMatchObject({ view, recording, at_s });
});

it('reads what a link to one position of the poll carries', () => {
  const { view, recording, query } = routes.read_route('#/ready?position=weather&key=a%2Bb', false);
  expect([view, recording, query]).toEqual(['ready', undefined, 'position=weather&key=a%2Bb']);
});

it('makes addresses that it reads', () => {
  for (const view of routes.kViews)
    expect(routes.read_route(routes.address_of(view, 'a/b', 12.5), true)).toMatchObject({
      view,
      recording: 'a/b',
      at_s: 12.5,
    });
});
