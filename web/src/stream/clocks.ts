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
/** Milliseconds since this page was opened, steady. */
export type PageMs = Clock<'page'>;

export const page_now = (): PageMs => performance.now();

export const utc_at = (utc_start_ms: UtcMs, t_s: TapeSeconds): UtcMs => utc_start_ms + 1000 * t_s;

export const flight_time = (liftoff_s: TapeSeconds, t_s: TapeSeconds): FlightSeconds => t_s - liftoff_s;
