/** What a page does so that it is of use away from the station. */
import { absence } from './absence.svelte';
import { keeper } from './keeper.svelte';
import { registration } from './registration.svelte';

export function start_keeping(): void {
  absence.start();
  keeper.start();
  void registration.start();
}
