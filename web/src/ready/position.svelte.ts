/** The right of this device to answer for one position: its link carries a key, which is traded for a cookie. */
import { station } from '../station/station.svelte';
import { fetch_position, post_position_key } from '../stream/api';
import { position_address, type PositionLink } from './position_link';

export type PositionState = 'opening' | 'held' | 'refused';

export class PositionRight {
  state: PositionState = $state('opening');

  /** The key leaves the address at once: it is nobody else's, and a picture of the screen must not give it away. */
  async open({ position, key }: PositionLink): Promise<void> {
    this.state = 'opening';
    try {
      if (key !== undefined) {
        history.replaceState(null, '', position_address(position));
        await post_position_key(position, key);
      }
      const held = station.role === 'operator' || (await fetch_position()) === position;
      this.state = held ? 'held' : 'refused';
    } catch {
      this.state = 'refused';
    }
  }
}
