/** Addresses of views. */
import { beforeAll, expect, it, vi } from 'vitest';
import type * as addresses from '../../src/station/flight_addresses';
import type * as route from '../../src/station/route.svelte';

let routes: typeof route & typeof addresses;
beforeAll(async () => {
  vi.stubGlobal(
    '$state',
    Object.assign((value: unknown) => value, { raw: (value: unknown) => value }),
  );
  vi.stubGlobal('location', { hash: '' });
  vi.stubGlobal('window', { addEventListener: () => undefined, matchMedia: () => ({ matches: false }) });
  routes = {
    ...(await import('../../src/station/route.svelte')),
    ...(await import('../../src/station/flight_addresses')),
  };
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

it.each([
  ['#/flights/r~v~2?t=12.5', true, { view: 'crew', recording: 'r', flight: 'r~v~2', flight_s: 12.5, query: '' }],
  ['#/flights/r~v~2', false, { view: 'watch', recording: 'r', flight: 'r~v~2', flight_s: NaN }],
  ['#/flights/r~v~2?t=-5&view=recover', true, { view: 'recover', flight: 'r~v~2', flight_s: -5 }],
  ['#/flights/r~v~2/response', true, { view: 'flights', page: 'response', recording: undefined, flight: 'r~v~2' }],
  ['#/flights/r~v~2/performance', true, { view: 'flights', page: 'performance', flight: 'r~v~2' }],
  ['#/flights/compare?of=a,b&align=apogee', true, { view: 'flights', page: 'compare', query: 'of=a,b&align=apogee' }],
  ['#/flights', true, { view: 'flights', page: '', recording: undefined, flight: undefined }],
  ['#/crew/r?at=3', true, { view: 'crew', recording: 'r', at_s: 3, query: '' }],
])('%s is a page of the log book', (hash, wide, expected) => {
  expect(routes.read_route(hash, wide)).toMatchObject(expected);
});

it('makes addresses of flights that it reads', () => {
  const flight = '2026-05-16T143205Z-sanderling~sanderling~1';
  expect(routes.read_route(routes.flight_address(flight, 30.25, 'antenna'), true)).toMatchObject({
    view: 'antenna',
    flight,
    flight_s: 30.25,
  });
  expect(routes.read_route(routes.page_address(flight, 'response'), true)).toMatchObject({ view: 'flights', page: 'response', flight });
  const { query } = routes.read_route(routes.compare_address([flight, 'b~v~1'], 'apogee'), true);
  expect(new URLSearchParams(query).get('of')?.split(',')).toEqual([flight, 'b~v~1']);
});

it('reads what a link to one position of the poll carries', () => {
  const { view, recording, query } = routes.read_route('#/ready?position=weather&key=a%2Bb', false);
  expect([view, recording, query]).toEqual(['ready', undefined, 'position=weather&key=a%2Bb']);
});

it('makes addresses that it reads', () => {
  for (const view of routes.kViews.filter((one) => one !== 'flights'))
    expect(routes.read_route(routes.address_of(view, 'a/b', 12.5), true)).toMatchObject({
      view,
      recording: 'a/b',
      at_s: 12.5,
    });
});
