/** The clocks of the header at the tape's cursor. */
import { flight_time, utc_at } from '../stream/clocks';
import type { Tape } from '../tape/tape';
import { format_clock, format_countdown, format_time_of_day, type ClockZone } from '../text/format';
import { kHeaderWords } from './wording';

export interface Clocks {
  /** What the large clock counts. */
  about: string;
  /** "T+0:09" after liftoff, before it the time of day. */
  main: string;
  /** Time of day beside T+; empty when it is the large clock. */
  day: string;
  zone: string;
}

export function clocks_of(tape: Tape, vehicle: number, zone: ClockZone): Clocks {
  const ms = utc_at(tape.description.recording.utc_start_ms, tape.cursor_s);
  const day = format_time_of_day(ms, zone);
  const liftoff_s = tape.log.liftoff_s(vehicle, tape.cursor_s);
  if (liftoff_s === undefined || liftoff_s > tape.cursor_s) {
    const countdown = tape.log.countdown_at(tape.cursor_s);
    return countdown
      ? {
          about: kHeaderWords[countdown.held ? 'held' : 'countdown'],
          main: format_countdown(countdown.left_s),
          day,
          zone: kHeaderWords[zone],
        }
      : { about: kHeaderWords[zone], main: day, day: '', zone: kHeaderWords[zone] };
  }
  return {
    about: kHeaderWords.since_liftoff,
    main: `T${format_clock(flight_time(liftoff_s, tape.cursor_s), 0)}`,
    day,
    zone: kHeaderWords[zone],
  };
}
