/**
 * Windows of the past that the page does not hold at full rate: asked from the server as the window moves, one request
 * at a time per table, newest wish first. The strips draw the overview until the answer is here.
 */
import { fetch_series } from '../stream/api';
import type { Series } from '../stream/blocks';
import { page_now, type PageMs, type TapeSeconds } from '../stream/clocks';
import type { Tape, TableData } from './tape';

interface Held {
  series: Series | undefined;
  from_s: TapeSeconds;
  to_s: TapeSeconds;
  points: number;
  asked_ms: PageMs;
  busy: boolean;
}

const kPointsMin = 16;
const kPointsMax = 8192;
const kAskAgainMs = 150; // while a window is being dragged
const kMargin = 0.5; // of the window on each side, so that a small pan needs no request

export class History {
  private readonly held = new Map<number, Held>();

  constructor(private readonly tape: Tape) {}

  /** History to draw for the window at `pixels` columns; undefined when the page's own rows are fine enough. */
  window(data: TableData, from_s: TapeSeconds, to_s: TapeSeconds, pixels: number): Series | undefined {
    if (data.columns.covers(from_s)) return undefined;
    const wanted_s = (to_s - from_s) / Math.max(1, pixels);
    if (this.tape.live && data.overview.bin_s <= wanted_s * 1.5) return undefined;
    let held = this.held.get(data.table.id);
    if (!held) {
      held = { series: undefined, from_s: 0, to_s: 0, points: 0, asked_ms: -Infinity, busy: false };
      this.held.set(data.table.id, held);
    }
    // From where the page's own rows are complete, they are drawn; only what lies before has to be asked for.
    const own_s = data.columns.count > 0 ? data.columns.complete_from_s : Infinity;
    const end_s = Math.min(to_s, own_s, this.tape.head_s);
    const inside = held.from_s <= from_s && held.to_s >= end_s;
    const fine = held.points > 0 && (held.to_s - held.from_s) / held.points <= wanted_s * 1.6;
    const exact = held.series !== undefined && !held.series.decimated;
    if (!(inside && (fine || exact)) && !held.busy && page_now() - held.asked_ms > kAskAgainMs) {
      void this.ask(data, held, from_s, to_s, pixels);
    }
    return held.series;
  }

  /** Row nearest before `t_s` in the history held for a table, for the read-out under the pointer. */
  at(data: TableData, t_s: TapeSeconds): { series: Series; row: number } | undefined {
    const held = this.held.get(data.table.id);
    const series = held?.series;
    if (!held || !series || series.rows === 0 || t_s < held.from_s || t_s > held.to_s) return undefined;
    let low = 0;
    let high = series.rows;
    while (low < high) {
      const middle = (low + high) >> 1;
      if ((series.t_s[middle] ?? Infinity) <= t_s) low = middle + 1;
      else high = middle;
    }
    return low > 0 ? { series, row: low - 1 } : undefined;
  }

  private async ask(
    data: TableData,
    held: Held,
    from_s: TapeSeconds,
    to_s: TapeSeconds,
    pixels: number,
  ): Promise<void> {
    const margin_s = (to_s - from_s) * kMargin;
    const from = Math.max(0, from_s - margin_s);
    const to = Math.min(this.tape.head_s, to_s + margin_s) + 0.001;
    held.asked_ms = page_now();
    if (to <= from || data.table.number_count === 0) return;
    held.busy = true;
    const points = Math.min(kPointsMax, Math.max(kPointsMin, Math.ceil(pixels * (1 + 2 * kMargin))));
    try {
      held.series = await fetch_series(this.tape.description.recording.id, {
        table: data.table.id,
        from_s: from,
        to_s: to,
        points,
      });
      held.from_s = from;
      held.to_s = to;
      held.points = points;
      data.version++;
      this.tape.data_version++;
    } catch {
      // The overview stays on screen; asking again waits, since the server is away or busy.
      held.asked_ms = page_now() + 2000;
    } finally {
      held.busy = false;
    }
  }
}
