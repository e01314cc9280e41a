/** How one looks at a flight, or a recording, in another view. */
import { flight_address } from '../station/flight_addresses';
import { address_of, type Route, type ViewName } from '../station/route.svelte';
import { kOnTape } from './views';

/** Another view of what is shown at present: of the same moment, where it has a place on a tape. */
export function address_beside(route: Route, view: ViewName): string {
  if (!kOnTape.has(view)) return address_of(view);
  if (route.flight !== undefined && kOnTape.has(route.view)) return flight_address(route.flight, NaN, view);
  return address_of(view, kOnTape.has(route.view) ? route.recording : undefined);
}
