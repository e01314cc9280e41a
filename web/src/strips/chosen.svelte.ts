/** What this device keeps of the strips, for each vehicle by its name, and the second cursor. */
import { SvelteMap } from 'svelte/reactivity';
import type { TapeSeconds } from '../stream/clocks';
import { read_arrangement, type Arrangement } from './arrangement';

const key_of = (vehicle: string): string => `turnstone.strips.${vehicle}`;

class Chosen {
  private readonly known = new SvelteMap<string, Arrangement>();
  /** Time of the second cursor, from which is measured; NaN: none. */
  second_s: TapeSeconds = $state(NaN);

  of(vehicle: string): Arrangement {
    const held = this.known.get(vehicle);
    if (held) return held;
    try {
      return read_arrangement(localStorage.getItem(key_of(vehicle)));
    } catch {
      return read_arrangement(null); // storage may be forbidden; then a choice lasts as long as the page
    }
  }

  set(vehicle: string, arrangement: Arrangement): void {
    this.known.set(vehicle, arrangement);
    try {
      localStorage.setItem(key_of(vehicle), JSON.stringify(arrangement));
    } catch {
      // See of().
    }
  }
}

export const chosen = new Chosen();
