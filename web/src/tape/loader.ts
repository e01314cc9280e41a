/**
 * Brings what the stream did not: events and rows from before the page came, rows that a break or a slow path left out,
 * and the rows at a cursor that stands where the page holds none. One loader serves one tape until it is stopped.
 */
import * as api from '../stream/api';
import type { TapeSeconds } from '../stream/clocks';
import { light_columns, type Places } from './light';
import { take_columns, take_series } from './take';
import type { Tape } from './tape';

const kBackfillPoints = 2048;
const kLightPoints = 1024; // about one a pixel of a phone, and enough for a big screen's curve
const kBackfillAtOnce = 3;
const kRefillPoints = 8192;
const kCommitMs = 2500; // rows reach the file, and so the answers, up to two seconds after the stream

/** Waits until what was on the stream is in the file as well. */
const committed = (): Promise<void> => new Promise((done) => setTimeout(done, kCommitMs));

export type LoaderFault = 'events_missing' | 'history_missing' | 'failed';

export interface LoaderHandlers {
  /** A request for missed or older rows begins (1) or ends (-1). */
  on_busy(change: 1 | -1): void;
  /** Something is missing, or a single look `failed`. */
  on_fault(code: LoaderFault, failure: unknown): void;
}

export class Loader {
  private stopped = false;
  private looking = false;
  private look_again = false;
  private whole = false;
  private readonly light: Places;

  constructor(
    private readonly tape: Tape,
    private readonly handlers: LoaderHandlers,
  ) {
    this.light = light_columns(tape.description);
  }

  /** What is still under way is not taken any more. */
  stop(): void {
    this.stopped = true;
  }

  async load_events(): Promise<void> {
    try {
      for (const event of await api.fetch_events(this.id)) this.tape.log.add(event);
    } catch (error) {
      this.handlers.on_fault('events_missing', error);
    }
  }

  /**
   * The tape so far, coarse enough for one screen, when the page comes in the middle of a flight. What the file lacks of
   * its newest moments the stream has brought: it begins some seconds before the page came. `whole`: of every table, for
   * who looks at strips; else what a small view draws.
   */
  async backfill(whole: boolean): Promise<void> {
    const { tape } = this;
    const begun = whole && this.whole;
    this.whole ||= whole;
    if (begun || tape.head_s <= 0) return;
    if (!whole) return this.busy(() => this.load_light(0, tape.head_s));
    const end_s = tape.head_s;
    const waiting = tape.tables.filter((data) => data.table.number_count > 0);
    await this.busy(async () => {
      const worker = async (): Promise<void> => {
        for (let data = waiting.shift(); data && !this.stopped; data = waiting.shift()) {
          const window = {
            table: data.table.id,
            from_s: 0,
            to_s: Math.max(end_s, tape.head_s) + 1,
            points: kBackfillPoints,
          };
          take_series(tape, await api.fetch_series(this.id, window), 0, true);
        }
      };
      await Promise.all(Array.from({ length: kBackfillAtOnce }, worker));
    });
  }

  private async load_light(from_s: TapeSeconds, to_s: TapeSeconds): Promise<void> {
    for (const [table, places] of this.light) {
      if (this.stopped) return;
      const columns = places.map((place) => this.tape.description.tables[table]?.columns[place]?.name ?? '');
      const window = { table, from_s, to_s: to_s + 1, points: kLightPoints, columns };
      take_columns(this.tape, await api.fetch_series(this.id, window), places);
    }
  }

  /**
   * Rows that a break or a slow path left out. -Infinity: from each table's own newest row. Until they are here the tape
   * does not call itself complete before now, so that the cursor asks the server instead of showing an older row.
   */
  async refill(from_s: TapeSeconds, to_s: TapeSeconds): Promise<void> {
    const { tape } = this;
    // Taken before any new row arrives: afterwards a table's newest row says nothing about what was missed.
    const head_s = tape.head_s;
    const holes = tape.tables
      .filter((data) => data.table.number_count > 0)
      .map((data) => {
        const { columns } = data;
        const newest_s = columns.count > 0 ? columns.time(columns.count - 1) : 0;
        return {
          table: data.table.id,
          from_s: Math.max(0, from_s === -Infinity ? newest_s : from_s - 1),
          complete_from_s: columns.complete_from_s,
        };
      });
    tape.mark_hole(head_s);
    await this.busy(async () => {
      await committed();
      if (!this.whole) {
        // The cursor asks the server for its rows: those that were missed are not held here.
        const begin_s = Math.min(...holes.filter((hole) => this.light.has(hole.table)).map((hole) => hole.from_s));
        return this.load_light(Math.max(0, begin_s === Infinity ? 0 : begin_s), Math.min(to_s, tape.head_s));
      }
      const end_s = Math.min(to_s, tape.head_s) + 1;
      for (const hole of holes) {
        if (this.stopped) return;
        const series = await api.fetch_series(this.id, {
          table: hole.table,
          from_s: hole.from_s,
          to_s: Math.max(end_s, hole.from_s + 1),
          points: kRefillPoints,
        });
        take_series(tape, series, hole.complete_from_s, true);
      }
    });
  }

  /** Asks for the rows at the cursor when the page does not hold them; one request at a time, the last one wins. */
  look(): void {
    if (this.tape.cursor_is_local) return;
    if (this.looking) {
      this.look_again = true;
      return;
    }
    this.looking = true;
    const at_s = this.tape.cursor_s;
    api
      .fetch_latest(this.id, at_s)
      .then(
        (latest) => {
          // In a replay the stream answers for a cursor that moved on meanwhile.
          if (!this.stopped && (this.look_again || at_s === this.tape.cursor_s)) this.tape.take_at_cursor(latest);
        },
        (error: unknown) => this.handlers.on_fault('failed', error),
      )
      .finally(() => {
        this.looking = false;
        if (!this.look_again || this.stopped) return;
        this.look_again = false;
        this.look();
      });
  }

  private get id(): string {
    return this.tape.description.recording.id;
  }

  private async busy(work: () => Promise<void>): Promise<void> {
    this.handlers.on_busy(1);
    try {
      await work();
    } catch (error) {
      this.handlers.on_fault('history_missing', error);
    } finally {
      this.handlers.on_busy(-1);
    }
  }
}
