/**
 * What the page knows of the ground station, and what it asks of it. Joins connection, tape and loader; components read
 * its state and call its verbs. High-rate rows stay in the tape: `beat` says eight times a second, and after a jump, that
 * it is worth looking at it again.
 */
import { page_now, type PageMs, type TapeSeconds } from '../stream/clocks';
import type { ClockExchange } from '../stream/clock_exchange';
import { Connection, type CloseReason, type ConnectionState } from '../stream/connection';
import type { Json } from '../stream/json';
import type { Hello, Replay, ServerMessage, SessionRole, Status } from '../stream/messages';
import type { History } from '../tape/history';
import type { Loader } from '../tape/loader';
import { Tape } from '../tape/tape';
import type { DoneCode, FaultCode, Notice } from './notice';
import type { Says } from './said';

/** Fetched once the page stands. */
const past = (): Promise<typeof import('../tape/past')> => import('../tape/past');

const kBeatMs = 125;
/** After a press on the tape the page looks again once it has the answer, and at the rest once the figures are painted. */
const kAnswer_ms = 250;
const kPaint_ms = 60;
const kBeatLatest_ms = 300; // also while a finger drags
const kCompareEvery_ms = 60_000; // clocks of devices drift by some milliseconds in that time
const kNoticeMs = { note: 4000, caution: 10_000 };

class Station {
  tape: Tape | undefined = $state.raw();
  history: History | undefined = $state.raw();
  connection: { state: ConnectionState; reason: CloseReason } = $state.raw({
    state: 'connecting',
    reason: 'unknown',
  });
  status: Status | undefined = $state.raw();
  role: SessionRole = $state('viewer');
  notice: Notice | undefined = $state.raw();
  /** What the view that is shown says in the band. */
  says: Says | undefined = $state.raw();
  /** Vehicle the readouts and strips are about. */
  vehicle = $state(0);
  /** Requests for missed or older rows under way. */
  loading = $state(0);
  beat = $state(0);
  /** Rises with each beat, and before it at a jump's answer: the largest figures are painted first. */
  figures = $state(0);
  recordings_version = $state(0);
  /** Where the leader of a debrief stands, as it came (stream/led.ts). */
  led: Json | undefined = $state.raw();
  /** Time under the pointer on strips or tape, seconds on the tape; NaN: none. Read by canvases every frame. */
  hover_s: TapeSeconds = NaN;
  /** How often the tape was asked to move, play or stop on this page. */
  moves = 0;

  private readonly connection_: Connection;
  loader: Loader | undefined;
  private exchange: ClockExchange | undefined;
  private compared_ms: PageMs = -Infinity;
  private role_questions = 0;
  private whole_history = false;
  private wanted_recording: string | undefined;
  private wanted_s: TapeSeconds = NaN;
  private notice_timer: ReturnType<typeof setTimeout> | undefined;
  private beat_timer: ReturnType<typeof setTimeout> | undefined;
  private beat_ms: PageMs = 0;

  constructor() {
    const scheme = location.protocol === 'https:' ? 'wss:' : 'ws:';
    this.connection_ = new Connection(`${scheme}//${location.host}/api/stream`, {
      on_state: (state, reason) => (this.connection = { state, reason }),
      on_message: (message) => this.receive(message),
      on_block: (block, message) => {
        if (message.replay === (this.tape?.mode === 'replay')) this.tape?.take_block(block);
      },
      on_tick: (_, missed) => {
        if (missed && this.tape) void this.loader?.refill(this.tape.cursor_s, Infinity);
      },
      on_fault: (failure) => this.warn('unreadable_message', failure),
    });
  }

  start(): void {
    this.connection_.start();
    this.go_on();
  }

  /** Beats fall on the moments at which a countdown changes, so that everybody sees it change at once. */
  private go_on(): void {
    this.beat++;
    this.figures++;
    this.beat_ms = page_now();
    const countdown = this.tape?.following ? this.tape.log.countdown_at(this.tape.cursor_s) : undefined;
    const left_ms = countdown && !countdown.held ? 1000 * countdown.left_s : 0;
    const next_ms = ((left_ms % kBeatMs) + kBeatMs) % kBeatMs;
    this.beat_in((next_ms || kBeatMs) + 1);
  }

  private beat_in(ms: number): void {
    clearTimeout(this.beat_timer);
    this.beat_timer = setTimeout(() => this.go_on(), Math.min(ms, this.beat_ms + kBeatLatest_ms - page_now()));
  }

  private compare_clocks(): void {
    this.compared_ms = page_now();
    this.exchange?.begin();
  }

  private tell(notice: Notice): void {
    this.notice = notice;
    clearTimeout(this.notice_timer);
    this.notice_timer = setTimeout(() => (this.notice = undefined), kNoticeMs[notice.level]);
  }

  private warn(code: FaultCode, failure?: unknown): void {
    this.tell({ code, level: 'caution', failure });
  }

  // Moving on the tape

  seek(t_s: TapeSeconds): void {
    const tape = this.tape;
    this.moves++;
    if (!tape) return;
    tape.set_cursor(t_s);
    if (tape.live) this.loader?.look();
    else {
      this.connection_.send_latest({ type: 'seek', t_s: tape.cursor_s });
      this.beat_in(kAnswer_ms);
    }
  }

  to_live(): void {
    if (this.tape?.live) this.tape.to_head();
    else if (this.tape) this.seek(this.tape.head_s);
  }

  pan(by_s: number): void {
    const followed = this.tape?.following ?? false;
    this.tape?.pan(by_s);
    if (followed) this.loader?.look();
  }

  /** `whole`: of every table, for a view that draws strips. What a small view draws is loaded in any case. */
  want_history(whole: boolean): void {
    this.whole_history = whole;
    if (whole) void this.loader?.backfill(true);
  }

  toggle_play(): void {
    const tape = this.tape;
    if (!tape || tape.live) return;
    this.moves++;
    if (!tape.playing && tape.cursor_s >= tape.head_s - 0.01) this.seek(0);
    this.request(tape.playing ? { type: 'pause' } : { type: 'play', rate: tape.rate });
  }

  set_rate(rate: number): void {
    const tape = this.tape;
    if (!tape || tape.live) return;
    this.moves++;
    tape.rate = rate;
    if (tape.playing) this.request({ type: 'play', rate });
  }

  /** To the next packet or the one before. */
  step(packets: -1 | 1): void {
    this.moves++;
    this.request({ type: 'step', packets });
  }

  /** `at_s`: where its cursor is to stand; NaN: where it stands, else at the start. */
  open_recording(id: string, at_s: TapeSeconds = NaN): void {
    this.wanted_s = at_s;
    if (this.wanted_recording === id) {
      this.seek_wanted();
      return;
    }
    this.wanted_recording = id;
    this.connection_.send({ type: 'open', recording: id });
  }

  private seek_wanted(): void {
    const shown = this.tape?.live ? undefined : this.tape?.description.recording.id;
    if (!(this.wanted_s >= 0) || !this.tape || shown !== this.wanted_recording) return;
    this.seek(this.wanted_s);
    this.wanted_s = NaN;
  }

  open_live(at_s: TapeSeconds = NaN): void {
    this.wanted_s = at_s;
    if (this.wanted_recording === undefined) {
      this.seek_wanted();
      return;
    }
    this.wanted_recording = undefined;
    this.connection_.send({ type: 'live' });
  }

  // The operator's

  async act(what: () => Promise<void>, done: DoneCode): Promise<boolean> {
    try {
      await what();
      this.tell({ code: done, level: 'note' });
      return true;
    } catch (error) {
      this.warn('failed', error);
      return false;
    }
  }

  /** As this browser's session has it; of two questions under way the later one counts. */
  async ask_role(otherwise: SessionRole): Promise<void> {
    const question = ++this.role_questions;
    const role = await past()
      .then(({ api }) => api.fetch_role())
      .catch(() => otherwise);
    if (question === this.role_questions) this.role = role;
  }

  /** Asks for what only makes sense at once. */
  request(body: object): void {
    if (!this.connection_.send(body)) this.warn('no_connection');
  }

  private receive(message: ServerMessage): void {
    switch (message.type) {
      case 'hello':
        // The connection may be older than the key given since.
        void this.ask_role(message.role);
        this.greet(message);
        break;
      case 'event':
        if (this.tape?.live) this.tape.log.add(message.event);
        if (message.event.kind === 'recording') this.recordings_version++;
        break;
      case 'status':
        this.status = message;
        if (!this.tape?.live) break;
        if (this.tape.set_station_now(message.t_s) || page_now() - this.compared_ms > kCompareEvery_ms)
          this.compare_clocks();
        break;
      case 'gap':
        if (this.tape?.live) void this.loader?.refill(message.from_t_s, message.to_t_s);
        break;
      case 'replay':
        this.replay(message);
        break;
      case 'time':
        this.exchange?.answer(message.request, message.t_s);
        break;
      case 'led':
        this.led = message.body;
        break;
      case 'session':
        this.role = message.role;
        break;
      case 'error':
        this.warn('failed', message.message);
        break;
      default:
        message satisfies never;
    }
  }

  private greet(hello: Hello): void {
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
        this.compare_clocks();
        void this.loader?.load_events();
        void this.loader?.refill(-Infinity, Infinity);
      } else {
        this.connection_.send({ type: 'seek', t_s: known.cursor_s });
        if (known.playing) this.connection_.send({ type: 'play', rate: known.rate });
      }
      return;
    }
    this.begin(new Tape(hello.description, hello.mode, hello.latest, hello.roles));
  }

  private begin(tape: Tape): void {
    this.loader?.stop();
    this.loader = undefined;
    this.history = undefined;
    this.tape = tape;
    this.vehicle = Math.min(this.vehicle, Math.max(0, tape.description.vehicles.length - 1));
    void past().then(
      ({ ClockExchange, Loader, History }) => {
        if (this.tape !== tape) return;
        this.exchange = new ClockExchange(
          (request) => this.connection_.send({ type: 'time', request }),
          (offset_s) => this.tape === tape && tape.set_offset(offset_s),
        );
        if (tape.live) this.compare_clocks();
        this.loader = new Loader(tape, {
          on_busy: (change) => (this.loading += change),
          on_fault: (code, failure) => this.warn(code, failure),
        });
        this.history = new History(tape);
        void this.loader.load_events();
        void this.loader.backfill(this.whole_history);
        this.loader.look();
        this.seek_wanted();
      },
      (error: unknown) => this.warn('history_missing', error),
    );
  }

  private replay(message: Replay): void {
    const tape = this.tape;
    if (!tape || tape.live) return;
    tape.set_replay(message.cursor_s, message.playing, message.rate, message.t_end_s, message.latest);
    if (message.latest) {
      this.figures++;
      this.beat_in(kPaint_ms);
    } else if (!message.playing) this.loader?.look();
  }
}

export const station = new Station();
