/**
 * How far the station's time is ahead of this page's clock. The page asks for the time and takes the moment half way
 * between question and answer for the moment of the answer, as RFC 5905 (NTP, section 8) does; of several exchanges the
 * one with the least round trip counts, since queues only ever make it longer. What is left is at most half of that trip,
 * and little once several trips were about as short: those met no queue.
 */
import { page_now, type PageMs, type TapeSeconds } from './clocks';

const kAlike = 4;
const kAlike_ms = 10;
const kMost = 12;
const kApart_ms = 150; // a queue that delays one has a chance to drain before the next
const kLost_ms = 3000;

export class ClockExchange {
  private asked = 0;
  private left = 0;
  private sent_ms: PageMs = NaN;
  private least_ms = Infinity;
  private alike = 0;
  private offset_s = NaN;
  private timer: ReturnType<typeof setTimeout> | undefined;

  /** `ask`: false when nothing can be asked. `found`: seconds on the tape less seconds of this page's clock. */
  constructor(
    private readonly ask: (request: number) => boolean,
    private readonly found: (offset_s: number) => void,
  ) {}

  begin(): void {
    this.left = kMost;
    this.alike = 0;
    this.least_ms = Infinity;
    this.next();
  }

  answer(request: number, t_s: TapeSeconds): void {
    if (request !== this.asked || Number.isNaN(this.sent_ms)) return;
    const now_ms = page_now();
    const trip_ms = now_ms - this.sent_ms;
    this.sent_ms = NaN;
    if (trip_ms < this.least_ms - kAlike_ms) this.alike = 0;
    if (trip_ms < this.least_ms + kAlike_ms) this.alike++;
    if (trip_ms < this.least_ms) {
      this.least_ms = trip_ms;
      this.offset_s = t_s - (now_ms - trip_ms / 2) / 1000;
    }
    this.left--;
    if (this.left > 0 && this.alike < kAlike) this.later(kApart_ms);
    else this.end();
  }

  private later(wait_ms: number): void {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.next(), wait_ms);
  }

  private next(): void {
    this.sent_ms = page_now();
    if (!this.ask(++this.asked)) {
      this.end();
      return;
    }
    // One whose answer does not come would take long enough to be worth nothing.
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.end(), kLost_ms);
  }

  private end(): void {
    clearTimeout(this.timer);
    this.sent_ms = NaN;
    this.left = 0;
    if (Number.isFinite(this.least_ms)) this.found(this.offset_s);
  }
}
