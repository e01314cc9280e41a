/** Rows around a firing that the page does not hold, asked of the server once, and again while they may still arrive. */
import type { Series } from '../stream/blocks';
import { fetch_series } from '../stream/api';
import { page_now, type TapeSeconds } from '../stream/clocks';
import type { Tape } from '../tape/tape';

interface Asked {
  series: Series | undefined;
  asked_ms: number;
  busy: boolean;
}

const kMargin_s = 0.05;
const kPoints = 8192;
const kAgain_ms = 3000;
const kFresh_s = 20; // a live recording may bring rows of the firing this long after it

export class Around {
  /** Rises when an answer has come. */
  version = $state(0);
  private readonly asked: Record<string, Asked> = {};

  get(tape: Tape, table: number, from_s: TapeSeconds, to_s: TapeSeconds): Series | undefined {
    const key = `${tape.description.recording.id} ${table} ${from_s} ${to_s}`;
    const known = this.asked[key];
    const fresh = tape.live && tape.head_s - to_s < kFresh_s;
    if (!known || (fresh && !known.busy && page_now() - known.asked_ms > kAgain_ms)) {
      const asked = known ?? { series: undefined, asked_ms: 0, busy: false };
      this.asked[key] = asked;
      void this.ask(asked, tape.description.recording.id, table, from_s, to_s);
    }
    return known?.series;
  }

  private async ask(asked: Asked, id: string, table: number, from_s: TapeSeconds, to_s: TapeSeconds): Promise<void> {
    [asked.busy, asked.asked_ms] = [true, page_now()];
    try {
      const window = { table, from_s: Math.max(0, from_s - kMargin_s), to_s: to_s + kMargin_s, points: kPoints };
      asked.series = await fetch_series(id, window);
      this.version++;
    } catch {
      // What the page holds stays; a live recording is asked again.
    } finally {
      asked.busy = false;
    }
  }
}
