/** A verdict that a view puts into the band under the header. */
import type { Level } from '../stream/messages';
import type { Sentence } from '../tape/events';

export interface Said {
  text: string;
  level: Level;
  /** What it is about; a screen reader hears it again when this or the level changes, not for a figure. */
  form: string;
}

/** What the band says while the vehicle has this sentence; undefined: that sentence. */
export type Says = (sentence: Sentence | undefined) => Said | undefined;
