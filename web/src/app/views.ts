/** The views by their address, each fetched when it is opened, so that a phone does not load what only a laptop shows. */
import type { Component } from 'svelte';
import type { ViewName } from '../station/route.svelte';

type Loader = () => Promise<{ default: Component }>;

export const kViewLoaders: Readonly<Partial<Record<ViewName, Loader>>> = {
  crew: () => import('../crew/Crew.svelte'),
  watch: () => import('../watch/Watch.svelte'),
  recover: () => import('../recover/Recover.svelte'),
  antenna: () => import('../antenna/Antenna.svelte'),
  test: () => import('../test/Test.svelte'),
  ready: () => import('../ready/Ready.svelte'),
  machines: () => import('../machines/Machines.svelte'),
  flights: () => import('./LogBookPages.svelte'),
  join: () => import('../join/Join.svelte'),
  help: () => import('../help/Help.svelte'),
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

/** Whether a view has something to show before the station has said anything. */
export const without_tape = (view: ViewName): boolean => view === 'recover' || !kOnTape.has(view);
