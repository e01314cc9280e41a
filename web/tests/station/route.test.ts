/** Addresses of views. */
import { beforeAll, describe, expect, it, vi } from 'vitest';
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
  ['#/crew/r~v~2?t=12.5', { view: 'crew', recording: 'r', of: 'r~v~2', page: '', query: 't=12.5' }],
  ['#/flights/r~v~2/response', { view: 'flights', of: 'r~v~2', page: 'response' }],
  ['#/flights/compare?of=a,b&align=apogee', { view: 'flights', of: 'compare', query: 'of=a,b&align=apogee' }],
  ['#/flights', { view: 'flights', recording: undefined, of: undefined, page: '' }],
])('%s is about flights', (hash, expected) => {
  expect(routes.read_route(hash, true)).toMatchObject(expected);
});

/** Made once the module stands. */
const address =
  (flight_s?: number, view?: route.ViewName) =>
  (flight: string): string =>
    routes.flight_address(flight, flight_s, view);

describe('the address of a flight', () => {
  const flight = '2026-05-16T143205Z-sanderling~sanderling~1';
  const path = encodeURIComponent(flight);
  it.each([
    [address(30.25), `#/watch/${path}?t=30.25`, 30.25],
    [address(30.25, 'antenna'), `#/antenna/${path}?t=30.25`, 30.25],
    [address(), `#/watch/${path}`, NaN],
  ])('leads to a view', (make, expected, flight_s) => {
    const { of, query } = routes.read_route(make(flight), true);
    const address = routes.view_address(of ?? '', query);
    expect(address).toBe(expected);
    expect(routes.flight_time_of(routes.read_route(address, true).query)).toEqual(flight_s);
  });
  it('has pages below it', () => {
    expect(routes.read_route(routes.page_address(flight, 'response'), true)).toMatchObject({
      of: flight,
      page: 'response',
    });
    const { query } = routes.read_route(routes.compare_address([flight, 'b~v~1'], 'apogee'), true);
    expect(new URLSearchParams(query).get('of')?.split(',')).toEqual([flight, 'b~v~1']);
  });
  it('has three parts', () => {
    expect(routes.flight_parts(flight)).toEqual({
      recording: '2026-05-16T143205Z-sanderling',
      vehicle: 'sanderling',
      number: 1,
    });
    expect(routes.flight_parts('r~v')).toBeUndefined();
  });
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
