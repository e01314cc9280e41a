/** What the clocks of axes and event log count from: liftoff when the flight at the cursor has one, else midnight UTC. */
import { flight_time, type TapeSeconds } from '../stream/clocks';
import { format_clock, format_utc_time } from '../text/format';
import type { Tape } from './tape';

export interface Zero {
  t_s: TapeSeconds;
  liftoff: boolean;
}

const kDay_s = 86400;

export function zero_of(tape: Tape, vehicle: number): Zero {
  const liftoff_s = tape.log.liftoff_s(vehicle, tape.cursor_s);
  if (liftoff_s !== undefined) return { t_s: liftoff_s, liftoff: true };
  const utc_s = tape.description.recording.utc_start_ms / 1000;
  return { t_s: -(utc_s % kDay_s), liftoff: false };
}

/** "+0:12.3" since liftoff; before there is one "14:32:05.2", the time of day. */
export function format_since(zero: Zero, t_s: TapeSeconds, decimals = 1): string {
  const since_s = flight_time(zero.t_s, t_s);
  return zero.liftoff ? format_clock(since_s, decimals) : format_utc_time(1000 * since_s, decimals);
}
