/** The station's log book as this page knows it, and the flights chosen in it. Every view of the debrief shares it. */
import { fetch_log_book, type Flight, type LogBook } from '../stream/flights';

/** Again and again, ever slower, while the station reads files that changed or one is under way. */
const kAgain_ms = { first: 1500, most: 20_000 };

class Book {
  entries: LogBook = $state.raw({ flights: [], unflown: [], removed: [], unread: 0 });
  loaded = $state(false);
  /** Why the last look failed; undefined: it did not. */
  failure: unknown = $state.raw();
  /** Ids of chosen flights: A, B, C in this order. */
  chosen: readonly string[] = $state.raw([]);
  /** What this page put aside, newest first: how people know it, by recording. */
  titles: ReadonlyMap<string, string> = $state.raw(new Map());
  private timer: ReturnType<typeof setTimeout> | undefined;

  async load(again_ms = kAgain_ms.first): Promise<void> {
    clearTimeout(this.timer);
    try {
      this.entries = await fetch_log_book();
      this.failure = undefined;
      const { flights, unflown, unread } = this.entries;
      if (unread > 0 || [...flights, ...unflown].some(({ live }) => live))
        this.timer = setTimeout(() => void this.load(Math.min(kAgain_ms.most, 1.5 * again_ms)), again_ms);
    } catch (error) {
      this.failure = error;
    }
    this.loaded = true;
  }

  find(id: string | undefined): Flight | undefined {
    return this.entries.flights.find((flight) => flight.id === id);
  }

  choose(id: string): void {
    this.chosen = this.chosen.includes(id) ? this.chosen.filter((other) => other !== id) : [...this.chosen, id];
  }
}

export const book = new Book();
