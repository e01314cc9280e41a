/**
 * What the page knows of the ground station, and what it asks of it. Joins connection, tape and history; components read
 * its state and call its verbs. High-rate rows stay in the tape: `beat` says eight times a second that it is worth
 * looking at it again.
 */
import { SvelteSet } from 'svelte/reactivity';
import * as api from '../stream/api';
import { Connection, type ConnectionState } from '../stream/connection';
import type { ServerMessage, SessionRole, Status } from '../stream/messages';
import { History } from '../tape/history';
import { Tape } from '../tape/tape';

const kBeatMs = 125;
const kBackfillPoints = 2048;
const kBackfillAtOnce = 3;
const kRefillPoints = 8192;
const kCommitMs = 400; // rows reach the file, and so the answers, up to 250 ms after the stream

/** Waits until what was on the stream is in the file as well. */
const committed = (): Promise<void> => new Promise((done) => setTimeout(done, kCommitMs));

export type Notice = { text: string; level: 'note' | 'caution' };

class Station {
  tape: Tape | undefined = $state.raw();
  history: History | undefined = $state.raw();
  connection: { state: ConnectionState; reason: string } = $state.raw({ state: 'connecting', reason: '' });
  status: Status | undefined = $state.raw();
  role: SessionRole = $state('viewer');
  notice: Notice | undefined = $state.raw();
  /** Vehicle the readouts and strips are about. */
  vehicle = $state(0);
  /** Requests for missed or older rows under way. */
  refilling = $state(0);
  beat = $state(0);
  recordings_version = $state(0);
  /** Time under the pointer on strips or tape, seconds on the tape; NaN: none. Read by canvases every frame. */
  hover_s = NaN;
  readonly closed_groups = new SvelteSet<string>();

  private readonly connection_: Connection;
  private wanted_recording: string | undefined;
  private looking = false;
  private look_again = false;
  private notice_timer: ReturnType<typeof setTimeout> | undefined;

  constructor() {
    const scheme = location.protocol === 'https:' ? 'wss:' : 'ws:';
    this.connection_ = new Connection(`${scheme}//${location.host}/api/stream`, {
      on_state: (state, reason) => (this.connection = { state, reason }),
      on_message: (message) => this.receive(message),
      on_block: (block, message) => {
        if (message.replay === (this.tape?.mode === 'replay')) this.tape?.take_block(block);
      },
      on_tick: (_, missed) => {
        if (missed && this.tape) void this.refill(this.tape, this.tape.cursor_s, Infinity);
      },
      on_fault: (what) => this.tell(`A message could not be read: ${what}`, 'caution'),
    });
  }

  start(): void {
    this.connection_.start();
    setInterval(() => this.beat++, kBeatMs);
  }

  tell(text: string, level: Notice['level'] = 'note'): void {
    this.notice = { text, level };
    clearTimeout(this.notice_timer);
    this.notice_timer = setTimeout(() => (this.notice = undefined), level === 'note' ? 4000 : 10_000);
  }

  // Moving on the tape

  seek(t_s: number): void {
    const tape = this.tape;
    if (!tape) return;
    tape.set_cursor(t_s);
    if (tape.live) this.look();
    else this.connection_.send_latest({ type: 'seek', t_s: tape.cursor_s });
  }

  to_head(): void {
    if (this.tape?.live) this.tape.to_head();
    else if (this.tape) this.seek(this.tape.head_s);
  }

  pan(by_s: number): void {
    const followed = this.tape?.following ?? false;
    this.tape?.pan(by_s);
    if (followed) this.look();
  }

  toggle_play(): void {
    const tape = this.tape;
    if (!tape || tape.live) return;
    if (!tape.playing && tape.cursor_s >= tape.head_s - 0.01) this.seek(0);
    this.request(tape.playing ? { type: 'pause' } : { type: 'play', rate: tape.rate });
  }

  set_rate(rate: number): void {
    const tape = this.tape;
    if (!tape || tape.live) return;
    tape.rate = rate;
    if (tape.playing) this.request({ type: 'play', rate });
  }

  step(rows: -1 | 1): void {
    this.request({ type: 'step', rows });
  }

  open_recording(id: string): void {
    if (this.wanted_recording === id) return;
    this.wanted_recording = id;
    this.connection_.send({ type: 'open', recording: id });
  }

  open_live(): void {
    if (this.wanted_recording === undefined) return;
    this.wanted_recording = undefined;
    this.connection_.send({ type: 'live' });
  }

  // The operator's

  async act(what: () => Promise<void>, done: string): Promise<boolean> {
    try {
      await what();
      this.tell(done);
      return true;
    } catch (error) {
      this.tell(error instanceof Error ? error.message : String(error), 'caution');
      return false;
    }
  }

  async enter_key(key: string): Promise<boolean> {
    const entered = await this.act(() => api.post_key(key), 'You are the operator on this device.');
    if (entered) this.role = 'operator';
    return entered;
  }

  private request(body: object): void {
    if (!this.connection_.send(body)) this.tell('No connection to the ground station: nothing was asked.', 'caution');
  }

  private receive(message: ServerMessage): void {
    switch (message.type) {
      case 'hello':
        // The connection may be older than the key entered since: the session knows.
        void api.fetch_role().then(
          (role) => (this.role = role),
          () => (this.role = message.role),
        );
        this.greet(message);
        break;
      case 'event':
        if (this.tape?.live) this.tape.log.add(message.event);
        if (message.event.kind === 'recording') this.recordings_version++;
        break;
      case 'status':
        this.status = message;
        if (this.tape?.live) this.tape.set_station_now(message.t_s);
        break;
      case 'gap':
        if (this.tape?.live) void this.refill(this.tape, message.from_t_s, message.to_t_s);
        break;
      case 'replay':
        this.replay(message);
        break;
      case 'error':
        this.tell(message.message, 'caution');
        break;
      default:
        message satisfies never;
    }
  }

  private greet(hello: Extract<ServerMessage, { type: 'hello' }>): void {
    const id = hello.description.recording.id;
    if (this.wanted_recording !== undefined && hello.mode === 'live') {
      // Back after a break while a recording is open here: the new connection has to be told.
      this.connection_.send({ type: 'open', recording: this.wanted_recording });
      if (this.tape?.mode === 'replay') return;
    }
    const known = this.tape;
    if (known && known.mode === hello.mode && known.description.recording.id === id) {
      known.take_latest(hello.latest);
      if (hello.mode === 'live') {
        void this.load_events(known);
        void this.refill(known, -Infinity, Infinity);
      } else {
        this.connection_.send({ type: 'seek', t_s: known.cursor_s });
        if (known.playing) this.connection_.send({ type: 'play', rate: known.rate });
      }
      return;
    }
    const tape = new Tape(hello.description, hello.mode, hello.latest);
    this.tape = tape;
    this.history = new History(tape);
    this.vehicle = Math.min(this.vehicle, Math.max(0, hello.description.vehicles.length - 1));
    void this.load_events(tape);
    void this.backfill(tape);
  }

  private replay(message: Extract<ServerMessage, { type: 'replay' }>): void {
    const tape = this.tape;
    if (!tape || tape.live) return;
    tape.set_replay(message.cursor_s, message.playing, message.rate, message.t_end_s);
    if (message.latest.length > 0) {
      tape.take_latest(message.latest);
      tape.take_at_cursor(message.latest);
    } else if (!message.playing) {
      this.look();
    }
  }

  /** Asks for the rows at the cursor when the page does not hold them; one request at a time, the last one wins. */
  private look(): void {
    const tape = this.tape;
    if (!tape || tape.cursor_is_local) return;
    if (this.looking) {
      this.look_again = true;
      return;
    }
    this.looking = true;
    api
      .fetch_latest(tape.description.recording.id, tape.cursor_s)
      .then(
        (latest) => {
          if (this.tape === tape) tape.take_at_cursor(latest);
        },
        (error: Error) => this.tell(error.message, 'caution'),
      )
      .finally(() => {
        this.looking = false;
        if (this.look_again) {
          this.look_again = false;
          this.look();
        }
      });
  }

  private async load_events(tape: Tape): Promise<void> {
    try {
      if (tape.live) await committed();
      for (const event of await api.fetch_events(tape.description.recording.id)) tape.log.add(event);
    } catch (error) {
      this.tell(`Events so far are missing: ${(error as Error).message}`, 'caution');
    }
  }

  /** The tape so far, coarse enough for one screen, when the page comes in the middle of a flight. */
  private async backfill(tape: Tape): Promise<void> {
    const end_s = tape.head_s;
    if (end_s <= 0) return;
    const waiting = tape.tables.filter((data) => data.table.number_count > 0);
    await this.while_refilling(async () => {
      const worker = async (): Promise<void> => {
        for (let data = waiting.shift(); data; data = waiting.shift()) {
          if (this.tape !== tape) return;
          const window = {
            table: data.table.id,
            from_s: 0,
            to_s: Math.max(end_s, tape.head_s) + 1,
            points: kBackfillPoints,
          };
          tape.take_series(await api.fetch_series(tape.description.recording.id, window), 0, true);
        }
      };
      await Promise.all(Array.from({ length: kBackfillAtOnce }, worker));
    });
    // The newest moments before the page came were perhaps not in the file yet.
    if (tape.live && this.tape === tape) await this.refill(tape, end_s, end_s + 1);
  }

  /**
   * Rows that a break or a slow path left out. -Infinity: from each table's own newest row. Until they are here the tape
   * does not call itself complete before now, so that the cursor asks the server instead of showing an older row.
   */
  private async refill(tape: Tape, from_s: number, to_s: number): Promise<void> {
    // Taken before any new row arrives: afterwards a table's newest row says nothing about what was missed.
    const head_s = tape.head_s;
    const holes = tape.tables
      .filter((data) => data.table.number_count > 0)
      .map((data) => {
        const { columns } = data;
        const newest_s = columns.count > 0 ? columns.time(columns.count - 1) : 0;
        return {
          data,
          from_s: Math.max(0, from_s === -Infinity ? newest_s : from_s - 1),
          complete_from_s: columns.complete_from_s,
        };
      });
    tape.mark_hole(head_s);
    await this.while_refilling(async () => {
      await committed();
      const end_s = Math.min(to_s, tape.head_s) + 1;
      for (const hole of holes) {
        if (this.tape !== tape) return;
        const series = await api.fetch_series(tape.description.recording.id, {
          table: hole.data.table.id,
          from_s: hole.from_s,
          to_s: Math.max(end_s, hole.from_s + 1),
          points: kRefillPoints,
        });
        tape.take_series(series, hole.complete_from_s, true);
      }
    });
  }

  private async while_refilling(work: () => Promise<void>): Promise<void> {
    this.refilling++;
    try {
      await work();
    } catch (error) {
      this.tell(`Part of the history is missing here: ${(error as Error).message}`, 'caution');
    } finally {
      this.refilling--;
    }
  }
}

export const station = new Station();
