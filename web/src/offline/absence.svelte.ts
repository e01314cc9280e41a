/** The station cannot be reached, and nothing has come of it since this page was opened. */
import { router } from '../station/route.svelte';
import { settings } from '../station/settings.svelte';
import { station } from '../station/station.svelte';
import { kept_band, last_seen } from './away';
import { keeper } from './keeper.svelte';
import type { Sighting } from './sighting';

const kPatience_ms = 1500; // some networks let a connection hang for long

class Absence {
  private is_long = $state(false);

  /** There was no connection, and not only because the page has just been opened. Who goes to recover is told there. */
  get lasts(): boolean {
    return this.is_long && router.route.view !== 'recover';
  }

  start(): void {
    setTimeout(() => (this.is_long = true), kPatience_ms);
    $effect.root(() => {
      $effect(() => {
        if (['waiting', 'refused'].includes(station.connection.state)) this.is_long = true;
      });
    });
  }

  /** What this device kept of the vehicles, as old as it is now. A replay is of none of them. */
  get seen(): Sighting[] {
    void station.beat;
    return station.tape || router.route.recording !== undefined ? [] : last_seen(keeper.kept, Date.now());
  }

  get band(): ReturnType<typeof kept_band> {
    const [newest] = this.seen;
    return newest && kept_band(newest, settings.units);
  }
}

export const absence = new Absence();
