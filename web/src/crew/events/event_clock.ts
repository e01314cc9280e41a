/** When an event was: before liftoff the time of day, afterwards T+, whatever the clock of the axis counts from. */
import type { TapeSeconds } from '../../stream/clocks';
import { utc_at } from '../../stream/clocks';
import type { Tape } from '../../tape/tape';
import { format_since, zero_of } from '../../tape/zero';
import { format_utc_time } from '../../text/format';

const kAtLiftoff_s = 0.05; // liftoff itself is T+0

export function event_clock(tape: Tape, vehicle: number, t_s: TapeSeconds): string {
  const zero = zero_of(tape, vehicle);
  if (zero.liftoff && t_s >= zero.t_s - kAtLiftoff_s) return `T${format_since(zero, Math.max(t_s, zero.t_s))}`;
  return format_utc_time(utc_at(tape.description.recording.utc_start_ms, t_s));
}
