/** What the views are called in the menu and beside it. */
import type { ViewName } from '../station/route.svelte';

export const kViewTitles: Readonly<Record<ViewName, string>> = {
  crew: 'Crew',
  watch: 'Watch',
  recover: 'Recover',
  antenna: 'Antenna',
  test: 'Test',
  ready: 'Ready',
  machines: 'Machines',
  flights: 'Flights',
  join: 'Join',
  help: 'Help',
};
