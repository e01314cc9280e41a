/**
 * The WebSocket of the page: reconnects by itself indefinitely, and knows when it has gone quiet. What was missed while it
 * was away is the tape's business (`on_open` and sequence jumps tell it).
 */
import { page_now, type PageMs } from './clocks';
import { BlockError, read_blocks, type Block, type BlockMessage } from './blocks';
import { MessageError } from './json';
import { read_message, type ServerMessage } from './messages';

export type ConnectionState = 'connecting' | 'open' | 'waiting' | 'refused';
/** Why there is no connection. */
export type CloseReason =
  'shutting_down' | 'not_understood' | 'not_served' | 'too_slow' | 'viewer_limit' | 'offline' | 'silent' | 'unknown';

export interface ConnectionHandlers {
  on_state(state: ConnectionState, reason: CloseReason): void;
  on_message(message: ServerMessage): void;
  on_block(block: Block, message: BlockMessage): void;
  /** After the blocks of one message. `missed` when sequence numbers jumped and no coalescing explains it. */
  on_tick(message: BlockMessage, missed: boolean): void;
  /** A message that could not be read, and why. */
  on_fault(failure: Error): void;
}

const kBackoffFirstMs = 250;
const kBackoffMaxMs = 5000;
const kSilenceMs = 4000; // `status` comes once a second: four missed means a dead path, not a slow one
const kRequestsPerSecond = 20; // well under the server's 50

/** By the close codes of protocol/STREAM.md, section 2. */
const kCloseReasons: Readonly<Record<number, CloseReason>> = {
  1001: 'shutting_down',
  4400: 'not_understood',
  4403: 'not_served',
  4408: 'too_slow',
  4503: 'viewer_limit',
};

export function backoff_ms(attempt: number): number {
  return Math.min(kBackoffMaxMs, kBackoffFirstMs * 2 ** Math.min(attempt, 10));
}

export class Connection {
  private socket: WebSocket | undefined;
  private attempt = 0;
  private timer: ReturnType<typeof setTimeout> | undefined;
  private last_heard_ms: PageMs = 0;
  private seq = -1;
  private pending: object | undefined;
  private pending_timer: ReturnType<typeof setTimeout> | undefined;

  constructor(
    private readonly address: string,
    private readonly handlers: ConnectionHandlers,
  ) {}

  start(): void {
    setInterval(() => this.check_silence(), 500);
    window.addEventListener('online', () => this.retry_now());
    window.addEventListener('offline', () => this.drop('offline'));
    this.open();
  }

  /** Sends at once, behind what waits to be sent. False when there is no connection. */
  send(request: object): boolean {
    this.flush();
    return this.write(request);
  }

  /** Of many requests, e.g. seeks while a finger drags, sends the first at once and then the newest, at a rate the server accepts. */
  send_latest(request: object): void {
    this.pending = request;
    if (this.pending_timer !== undefined) return;
    this.flush();
    this.pending_timer = setTimeout(() => {
      this.pending_timer = undefined;
      if (this.pending) this.send_latest(this.pending);
    }, 1000 / kRequestsPerSecond);
  }

  private flush(): void {
    const waiting = this.pending;
    this.pending = undefined;
    if (waiting) this.write(waiting);
  }

  private write(request: object): boolean {
    if (this.socket?.readyState !== WebSocket.OPEN) return false;
    this.socket.send(JSON.stringify(request));
    return true;
  }

  private open(): void {
    this.handlers.on_state('connecting', 'unknown');
    const socket = new WebSocket(this.address);
    socket.binaryType = 'arraybuffer';
    this.socket = socket;
    this.last_heard_ms = page_now();
    this.seq = -1;
    socket.onopen = () => {
      this.attempt = 0;
      this.handlers.on_state('open', 'unknown');
    };
    socket.onmessage = (message: MessageEvent<unknown>) => this.receive(message.data);
    socket.onclose = (close) => {
      if (this.socket === socket) this.wait(kCloseReasons[close.code] ?? 'unknown');
    };
  }

  private wait(reason: CloseReason): void {
    this.socket = undefined;
    const refused = reason === 'not_served';
    this.handlers.on_state(refused ? 'refused' : 'waiting', reason);
    const delay_ms = refused ? kBackoffMaxMs : backoff_ms(this.attempt++);
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.open(), delay_ms);
  }

  private retry_now(): void {
    if (this.socket) return;
    clearTimeout(this.timer);
    this.attempt = 0;
    this.open();
  }

  private drop(reason: CloseReason): void {
    const socket = this.socket;
    if (!socket) return;
    socket.onmessage = null;
    socket.onclose = null;
    socket.close();
    this.wait(reason);
  }

  private check_silence(): void {
    if (this.socket && page_now() - this.last_heard_ms > kSilenceMs) this.drop('silent');
  }

  private receive(data: unknown): void {
    this.last_heard_ms = page_now();
    try {
      if (typeof data === 'string') {
        const message = read_message(data);
        // A new tape behind the connection starts a new count.
        if (message.type === 'hello') this.seq = -1;
        this.handlers.on_message(message);
      } else if (data instanceof ArrayBuffer) {
        const message = read_blocks(data, this.handlers.on_block);
        const missed = !message.replay && !message.coalesced && this.seq >= 0 && message.seq > this.seq + 1;
        this.seq = message.seq;
        this.handlers.on_tick(message, missed);
      }
    } catch (error) {
      if (!(error instanceof MessageError) && !(error instanceof BlockError)) throw error;
      this.handlers.on_fault(error);
    }
  }
}
