/**
 * One recording and one cursor on it. Live is the tape whose head still moves; behind live is the same tape with the
 * cursor let go. Every view is a function of (tape, cursor): nothing here knows who draws it.
 */
import type { Block } from '../stream/blocks';
import { page_now, type TapeSeconds } from '../stream/clocks';
import type { Description, Table } from '../stream/description';
import type { LatestRow, Mode } from '../stream/messages';
import { Columns } from './columns';
import { EventLog } from './events';
import { Overview } from './overview';

export interface TableData {
  readonly table: Table;
  readonly columns: Columns;
  readonly overview: Overview;
  /** Newest row by time, whether it came in a block or with a hello. */
  newest: LatestRow | undefined;
  /** Row at the cursor, as the server answered, when the cursor stands where `columns` cannot answer. */
  at_cursor: LatestRow | undefined;
  /** Rises whenever there is more of it to draw. */
  version: number;
}

const kSpanLive_s = 60;
const kSpanMin_s = 0.5;
const kDelayUsual_s = 0.5;
const kDelayMost_s = 3; // of a message on a bad line; more is a clock that jumped
const kDrift_s = 1e-4; // between two messages
const kPlaySlack_s = 0.2; // at rate 1: the server says where the cursor stands ten times a second

export class Tape {
  readonly tables: readonly TableData[];
  readonly log = new EventLog();
  /** Rises whenever rows arrive; `view_version` whenever cursor or window move. */
  data_version = 0;
  view_version = 0;
  /** True while the cursor rides on the head. */
  following: boolean;
  /** Replay only: the server moves the cursor. */
  playing = false;
  rate = 1;
  /** Part of the window that stays free after the head: room for what is to come, and no value glued to the edge. */
  lead = 0.03;
  /** Tape time minus the page's clock; NaN until the first status. */
  private offset_s = NaN;
  /** It was measured, not only concluded from when messages came. */
  private measured = false;
  /** Of the newest row. */
  newest_s: TapeSeconds;
  private newest_heard_s: TapeSeconds;
  private cursor: TapeSeconds;
  private from: TapeSeconds = 0;
  private span: number;

  constructor(
    readonly description: Description,
    readonly mode: Mode,
    latest: readonly LatestRow[],
    /** What people call each role. */
    readonly roles: ReadonlyMap<string, string> = new Map(),
  ) {
    this.tables = description.tables.map((table) => ({
      table,
      columns: new Columns(table.number_count),
      overview: new Overview(table.number_count),
      newest: undefined,
      at_cursor: undefined,
      version: 0,
    }));
    this.following = mode === 'live';
    this.newest_s = Math.max(0, description.recording.t_end_s || 0);
    this.newest_heard_s = this.newest_s;
    this.cursor = mode === 'live' ? this.newest_s : 0;
    this.span = mode === 'live' ? kSpanLive_s : Math.max(this.newest_s, kSpanMin_s);
    this.take_latest(latest);
    // Until the station says what time it is: a connection lost before that must not hold the values at their age.
    if (this.live) this.offset_s = this.newest_s - page_now() / 1000;
  }

  get live(): boolean {
    return this.mode === 'live';
  }

  /** Where the tape ends now, seconds since its start. */
  get head_s(): TapeSeconds {
    if (!this.live) return this.newest_s;
    return Math.max(this.newest_s, page_now() / 1000 + this.offset_s);
  }

  get cursor_s(): TapeSeconds {
    return this.following ? this.head_s : this.cursor;
  }

  /** Until when the station is known to have spoken: with a row, or only to say what time it is. */
  get heard_s(): TapeSeconds {
    return Math.max(this.newest_heard_s, this.newest_s);
  }

  get span_s(): number {
    return this.span;
  }

  /** Left edge of the strips' window; it rides with the head while following. */
  get from_s(): TapeSeconds {
    if (!this.following) return this.from;
    return Math.max(0, this.head_s - this.span * (1 - this.lead));
  }

  get to_s(): TapeSeconds {
    return this.from_s + this.span;
  }

  /** What the tape along the bottom edge shows: from 0 to this. */
  get extent_s(): number {
    return Math.max(this.live ? 20 : 1, this.head_s);
  }

  /** The station says what time it is on the tape. True: this page's clock jumped, and should be compared with it again. */
  set_station_now(t_s: TapeSeconds): boolean {
    if (!Number.isFinite(t_s)) return false; // a station that has just started has no tape yet
    this.newest_heard_s = Math.max(this.newest_heard_s, t_s);
    const offset_s = t_s - page_now() / 1000;
    const jumped = !(Math.abs(offset_s - this.offset_s) <= (this.measured ? kDelayMost_s : kDelayUsual_s));
    // Delay on the way only ever makes the estimate late: keep the earliest message's, follow slow drift.
    if (jumped) this.offset_s = offset_s;
    else this.offset_s = Math.max(offset_s, this.offset_s - (this.measured ? 0 : kDrift_s));
    if (jumped) this.measured = false;
    return jumped;
  }

  /** Tape time minus the page's clock, as an exchange of clocks found it. */
  set_offset(offset_s: number): void {
    this.offset_s = offset_s;
    this.measured = true;
  }

  take_block(block: Block): void {
    const data = this.tables[block.table];
    if (!data || block.columns !== data.table.number_count) return;
    for (let i = 0; i < block.rows; i++) {
      if (this.live) data.columns.push_block_row(block.view, block.t_offset, block.values_offset, block.rows, i);
      const t_s = block.view.getFloat64(block.t_offset + 8 * i, true);
      if (this.live) {
        const bin = data.overview.touch(t_s);
        for (let c = 0; c < block.columns; c++) {
          data.overview.take(bin, c, block.view.getFloat64(block.values_offset + 8 * (c * block.rows + i), true));
        }
        if (t_s > this.newest_s) this.newest_s = t_s;
      } else if (this.playing && t_s > this.cursor) {
        this.cursor = t_s; // the server says where it stands less often than it sends rows
      }
      if (!data.newest || t_s >= data.newest.t_s) this.set_newest(data, t_s, block, i);
    }
    data.version++;
    this.data_version++;
  }

  /** Rows between these times never came and cannot be had: what lies before `to_s` must come from the server. */
  mark_hole(to_s: TapeSeconds): void {
    for (const data of this.tables) data.columns.complete_from_s = Math.max(data.columns.complete_from_s, to_s);
  }

  take_latest(latest: readonly LatestRow[]): void {
    for (const row of latest) {
      const data = this.tables[row.table];
      if (data && row.values.length >= data.table.number_count) data.newest = row;
    }
    this.data_version++;
  }

  take_at_cursor(latest: readonly LatestRow[]): void {
    for (const data of this.tables) data.at_cursor = undefined;
    for (const row of latest) {
      const data = this.tables[row.table];
      if (data && row.values.length >= data.table.number_count) data.at_cursor = row;
    }
    this.data_version++;
  }

  /** Whether rows at the cursor are all here, without asking the server. */
  get cursor_is_local(): boolean {
    if (this.following) return true;
    return this.live && this.tables.every((data) => data.columns.count === 0 || data.columns.covers(this.cursor));
  }

  /** Value and time of a column at the cursor; NaN when there is none. */
  value_at_cursor(table: number, column: number): { value: number; t_s: TapeSeconds } {
    const data = this.tables[table];
    if (!data) return { value: NaN, t_s: NaN };
    if (!this.following && this.live && data.columns.covers(this.cursor)) {
      const i = data.columns.find(this.cursor);
      return { value: data.columns.value(column, i), t_s: data.columns.time(i) };
    }
    const row = this.following || (!this.live && this.playing) ? data.newest : data.at_cursor;
    // Until the server has answered for this cursor, the row may be another cursor's: never one from after it.
    const slack_s = this.playing ? kPlaySlack_s * this.rate : 0;
    if (!row || (!this.following && row.t_s > this.cursor + slack_s)) return { value: NaN, t_s: NaN };
    return { value: row.values[column] ?? NaN, t_s: row.t_s };
  }

  /** The same, but of a row at or before `at_s`, as far back as the page holds rows; the row at the cursor otherwise. */
  value_before(table: number, column: number, at_s: TapeSeconds): { value: number; t_s: TapeSeconds } {
    const found = this.value_at_cursor(table, column);
    const columns = this.tables[table]?.columns;
    if (!columns || !(found.t_s > at_s)) return found;
    const i = columns.find(at_s);
    return i < 0 ? found : { value: columns.value(column, i), t_s: columns.time(i) };
  }

  set_cursor(t_s: TapeSeconds): void {
    const head_s = this.head_s;
    const from = this.from_s;
    this.from = from;
    this.following = false;
    // Whole microseconds: the address of a request and the slider's value then say exactly the same moment.
    this.cursor = Math.round(Math.min(head_s, Math.max(0, t_s)) * 1e6) / 1e6;
    if (this.cursor < this.from || this.cursor > this.from + this.span)
      this.from = Math.max(0, this.cursor - this.span / 2);
    this.view_version++;
  }

  /** Where the server says the cursor stands during replay, and the rows there when it was asked for them. */
  set_replay(
    cursor_s: TapeSeconds,
    playing: boolean,
    rate: number,
    t_end_s: TapeSeconds,
    latest?: readonly LatestRow[],
  ): void {
    if (latest) {
      this.take_at_cursor(latest);
      for (const data of this.tables)
        data.newest = data.at_cursor && { ...data.at_cursor, values: data.at_cursor.values.slice() };
    }
    this.playing = playing;
    this.rate = rate;
    this.newest_s = Math.max(this.newest_s, t_end_s || 0);
    const { cursor, from } = this;
    this.cursor = cursor_s;
    if (cursor_s > this.from + 0.9 * this.span || cursor_s < this.from) {
      this.from = Math.max(0, Math.min(cursor_s - 0.1 * this.span, this.newest_s - this.span * (1 - this.lead)));
    }
    if (cursor !== cursor_s || from !== this.from) this.view_version++;
  }

  to_head(): void {
    if (this.live) this.following = true;
    else this.set_cursor(this.head_s);
    this.view_version++;
  }

  /** Window `factor` times as long, `anchor_s` staying where it is on screen. */
  zoom(factor: number, anchor_s = this.cursor_s): void {
    const longest_s = Math.max(this.extent_s * 1.05, kSpanLive_s);
    const span = Math.min(longest_s, Math.max(kSpanMin_s, this.span * factor));
    if (!this.following) {
      const part = Math.min(1, Math.max(0, (anchor_s - this.from) / this.span));
      this.from = Math.max(0, anchor_s - part * span);
    }
    this.span = span;
    this.view_version++;
  }

  /** Shows everything. */
  zoom_out(): void {
    this.from = 0;
    this.span = Math.max(kSpanMin_s, this.extent_s * (1 + this.lead));
    this.view_version++;
  }

  /** Moves the window; while live that lets go of the head, with the cursor left where it is seen. */
  pan(by_s: number): void {
    const from = this.from_s;
    if (this.following) {
      this.cursor = this.head_s;
      this.following = false;
    }
    this.from = Math.max(0, Math.min(from + by_s, Math.max(0, this.head_s - this.span * 0.2)));
    this.view_version++;
  }

  private set_newest(data: TableData, t_s: TapeSeconds, block: Block, i: number): void {
    const row = (data.newest ??= { table: block.table, t_s, values: new Float64Array(block.columns) });
    row.t_s = t_s;
    for (let c = 0; c < block.columns; c++) {
      row.values[c] = block.view.getFloat64(block.values_offset + 8 * (c * block.rows + i), true);
    }
  }
}
