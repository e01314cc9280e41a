/** How one looks at a flight, or a recording, in another view. */
import { address_of, type Route, type ViewName } from '../station/route.svelte';
import { kOnTape } from './views';

/** Another view of what is shown at present: of the same moment, where both have a place on a tape. */
export const address_beside = (route: Route, view: ViewName): string =>
  address_of(view, kOnTape.has(view) && kOnTape.has(route.view) ? route.of : undefined);
