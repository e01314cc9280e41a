/** The views by their address, each fetched when it is opened, so that a phone does not load what only a laptop shows. */
import type { Component } from 'svelte';
import { address_of, flight_address, type Route, type ViewName } from '../station/route.svelte';

type Loader = () => Promise<{ default: Component }>;

export const kViewLoaders: Readonly<Partial<Record<ViewName, Loader>>> = {
  crew: () => import('../crew/Crew.svelte'),
  watch: () => import('../watch/Watch.svelte'),
  recover: () => import('../recover/Recover.svelte'),
  antenna: () => import('../antenna/Antenna.svelte'),
  test: () => import('../test/Test.svelte'),
  ready: () => import('../ready/Ready.svelte'),
  machines: () => import('../machines/Machines.svelte'),
  flights: () => import('../flights/LogBook.svelte'),
  compare: () => import('../compare/Compare.svelte'),
  response: () => import('../response/Response.svelte'),
  performance: () => import('../response/Performance.svelte'),
  join: () => import('../join/Join.svelte'),
  help: () => import('../help/Help.svelte'),
};

/** The controls of a flight that is replayed, above the tape. */
export const load_flight_bar: Loader = () => import('../flights/replay/FlightBar.svelte');

export const kViewTitles: Readonly<Record<ViewName, string>> = {
  crew: 'Crew',
  watch: 'Watch',
  recover: 'Recover',
  antenna: 'Antenna',
  test: 'Test',
  ready: 'Ready',
  machines: 'Machines',
  flights: 'Flights',
  compare: 'Compare',
  response: 'Response',
  performance: 'Performance',
  join: 'Join',
  help: 'Help',
};

/** Views with a place on the tape; the others are about no moment. */
export const kOnTape: ReadonlySet<ViewName> = new Set([
  'crew',
  'watch',
  'recover',
  'antenna',
  'test',
  'ready',
  'machines',
]);

/** Views that have something to show before the station has said anything. */
export const kWithoutTape: ReadonlySet<ViewName> = new Set([
  'recover',
  'flights',
  'compare',
  'response',
  'performance',
  'join',
  'help',
]);

/** Another view of what is shown at present: of the same moment, where it has a place on a tape. */
export function address_beside(route: Route, view: ViewName): string {
  if (!kOnTape.has(view)) return address_of(view);
  if (route.flight !== undefined && route.recording !== undefined) return flight_address(route.flight, NaN, view);
  return address_of(view, kOnTape.has(route.view) ? route.recording : undefined);
}
