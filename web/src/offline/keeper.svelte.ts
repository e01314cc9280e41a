/** Keeps on this device what the live tape says of every vehicle, while there is something new in it. */
import { station } from '../station/station.svelte';
import { keep, load_kept, type Kept, type Store } from './kept';
import { sighting_of } from './sighting';

const kEveryMs = 2000;

function store(): Store | undefined {
  try {
    return window.localStorage;
  } catch {
    return undefined; // storage may be forbidden
  }
}

class Keeper {
  kept: readonly Kept[] = $state.raw([]);
  /** The device refuses to keep anything. */
  refused = $state(false);
  private open = false;

  start(): void {
    const kept = store();
    if (!kept) {
      this.refused = true;
      return;
    }
    this.kept = load_kept(kept);
    setInterval(() => this.look(kept), kEveryMs);
    // The last chance before a phone puts the page to sleep.
    document.addEventListener('visibilitychange', () => this.look(kept));
  }

  private look(kept: Store): void {
    const { tape } = station;
    const was_open = this.open; // what came between the last look and the loss of the connection is kept too
    this.open = station.connection.state === 'open';
    if (!tape?.live || !tape.following || !(this.open || was_open)) return;
    const seen = tape.description.vehicles.map((_, vehicle) => sighting_of(tape, vehicle));
    this.refused = !keep(kept, seen, Date.now());
    this.kept = load_kept(kept);
  }
}

export const keeper = new Keeper();
