/** What is to come of altitude and vertical speed from the cursor on, by what was measured last. */
import { deployment_at, next_parachute } from './deployment';
import { estimate } from '../estimates';
import { future_of, type FuturePoint } from './future';
import { predicted_s } from './measured';
import { motion_at } from '../motion';
import type { Tape } from '../tape';

/** Empty when nothing is measured, or the flight is over or has not begun. */
export function outlook(tape: Tape, vehicle: number): { altitude: FuturePoint[]; speed: FuturePoint[] } {
  const none = { altitude: [], speed: [] };
  const happened = new Set(tape.log.happened(vehicle, tape.cursor_s).map((event) => event.name));
  if (!happened.has('liftoff') || happened.has('touchdown')) return none;
  const { altitude_m, vertical_speed_mps } = motion_at(tape, vehicle);
  if (!(tape.cursor_s - altitude_m.measured_s <= altitude_m.hold_s)) return none;
  const ascent = estimate(tape, vehicle, 'ascent');
  const next = next_parachute(deployment_at(tape, vehicle));
  const rising = !happened.has('apogee');
  return future_of({
    t_s: tape.cursor_s,
    altitude_m: altitude_m.value,
    vertical_speed_mps: vertical_speed_mps.value,
    apogee_m: rising ? ascent.value('apogee_m') : NaN,
    apogee_in_s: rising ? ascent.value('apogee_in_s') - (tape.cursor_s - predicted_s(tape, vehicle, ascent.t_s)) : NaN,
    next_in_s: next?.expected_in_s ?? NaN,
    next_rate_mps: next ? (next.rate_low_mps + next.rate_high_mps) / 2 : NaN,
  });
}
