/**
 * The clocks of the page. All are numbers; a name keeps one from being taken for another where they meet. Plain
 * arithmetic gives a plain number, which fits any of them: only the functions below lead from clock to clock.
 */
type Clock<Name extends string> = number & { readonly clock?: Name };

/** Seconds on a tape, since its recording began: every `t_s` and the cursor. */
export type TapeSeconds = Clock<'tape'>;
/** Seconds since liftoff, negative before it: T+. */
export type FlightSeconds = Clock<'flight'>;
/** Milliseconds since 1970, UTC. */
export type UtcMs = Clock<'utc'>;
/** Milliseconds since this page was opened, steady; they go on while the device sleeps. */
export type PageMs = Clock<'page'>;

/**
 * Some devices stop the steady clock while they sleep, and what was on screen before would look fresh for a moment
 * after. The wall clock goes on: where it runs ahead between two looks, the device slept. It may also have been set by
 * hand; then figures look old until the station speaks, which is the safe side. One that is set back changes nothing.
 */
export class SleepWatch {
  private slept_ms = 0;
  private steady_ms: number;
  private wall_ms: number;

  constructor(
    private readonly steady: () => number,
    private readonly wall: () => number,
  ) {
    this.steady_ms = steady();
    this.wall_ms = wall();
  }

  now(): PageMs {
    const steady_ms = this.steady();
    const wall_ms = this.wall();
    const ahead_ms = wall_ms - this.wall_ms - (steady_ms - this.steady_ms);
    if (ahead_ms > kSleepLeast_ms) this.slept_ms += ahead_ms;
    this.steady_ms = steady_ms;
    this.wall_ms = wall_ms;
    return steady_ms + this.slept_ms;
  }
}

const kSleepLeast_ms = 1000; // corrections of a clock by its time service are slower

const page = new SleepWatch(
  () => performance.now(),
  () => Date.now(),
);
export const page_now = (): PageMs => page.now();

export const utc_at = (utc_start_ms: UtcMs, t_s: TapeSeconds): UtcMs => utc_start_ms + 1000 * t_s;

export const flight_time = (liftoff_s: TapeSeconds, t_s: TapeSeconds): FlightSeconds => t_s - liftoff_s;
