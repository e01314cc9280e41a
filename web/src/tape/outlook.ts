/** Altitude and vertical speed at the cursor from their best source at that moment, and what is to come of them. */
import type { TapeSeconds } from '../stream/clocks';
import type { Column } from '../stream/description';
import { deployment_at, next_parachute } from './deployment';
import { estimate, kModeWords, type ColumnOf } from './estimates';
import { future_of, type FuturePoint } from './future';
import { measured_s } from './measured';
import { find_role, type ColumnRef } from './roles';
import type { Tape } from './tape';

export type MotionSource = 'navigation' | 'vertical' | 'onboard';

export interface MotionFigure {
  source: MotionSource;
  column: Column;
  value: number;
  sigma: number;
  /** Of the newest measurement behind it. */
  measured_s: TapeSeconds;
}

/** Navigation knows best while fixes aid it; otherwise the filter of the vertical; else what the vehicle says itself. */
function best(
  tape: Tape,
  vehicle: number,
  by_navigation: ColumnOf<'navigation'>,
  by_filter: ColumnOf<'vertical'>,
  role: string,
): MotionFigure | undefined {
  const navigation = estimate(tape, vehicle, 'navigation');
  const aided = navigation.word('mode') === kModeWords.aided;
  const sources: [MotionSource, ColumnRef | undefined][] = [
    ['navigation', aided ? navigation.ref(by_navigation) : undefined],
    ['vertical', estimate(tape, vehicle, 'vertical').ref(by_filter)],
    ['onboard', find_role(tape.description, role, vehicle)],
  ];
  for (const [source, ref] of sources) {
    const column = ref?.table.columns[ref.column];
    if (!ref || !column) continue;
    const { value, t_s } = tape.value_at_cursor(ref.table.id, ref.column);
    if (Number.isNaN(value)) continue;
    const sigma = ref.table.columns.findIndex((other) => other.name === column.sigma_column);
    const heard_s = measured_s(tape, vehicle, 'height');
    return {
      source,
      column,
      value,
      sigma: sigma < 0 ? NaN : tape.value_at_cursor(ref.table.id, sigma).value,
      measured_s: Number.isNaN(heard_s) ? t_s : Math.min(t_s, heard_s),
    };
  }
  return undefined;
}

export const altitude_at = (tape: Tape, vehicle: number): MotionFigure | undefined =>
  best(tape, vehicle, 'up_m', 'altitude_m', 'onboard_altitude');
export const vertical_speed_at = (tape: Tape, vehicle: number): MotionFigure | undefined =>
  best(tape, vehicle, 'velocity_up_mps', 'vertical_speed_mps', 'onboard_vertical_speed');

const kOld_s = 2; // what was measured longer ago gives no outlook

/** Altitude and vertical speed from the cursor on; empty when nothing is measured, or the flight is over or to begin. */
export function outlook(tape: Tape, vehicle: number): { altitude: FuturePoint[]; speed: FuturePoint[] } {
  const none = { altitude: [], speed: [] };
  const [altitude, speed] = [altitude_at(tape, vehicle), vertical_speed_at(tape, vehicle)];
  if (!altitude || !speed || tape.cursor_s - altitude.measured_s > kOld_s) return none;
  const happened = new Set(tape.log.happened(vehicle, tape.cursor_s).map((event) => event.name));
  if (!happened.has('liftoff') || happened.has('touchdown')) return none;
  const ascent = estimate(tape, vehicle, 'ascent');
  const next = next_parachute(deployment_at(tape, vehicle));
  const rising = !happened.has('apogee');
  return future_of({
    t_s: tape.cursor_s,
    altitude_m: altitude.value,
    vertical_speed_mps: speed.value,
    apogee_m: rising ? ascent.value('apogee_m') : NaN,
    apogee_in_s: rising ? ascent.value('apogee_in_s') - (tape.cursor_s - ascent.t_s) : NaN,
    next_in_s: next?.expected_in_s ?? NaN,
    next_rate_mps: next ? (next.rate_low_mps + next.rate_high_mps) / 2 : NaN,
  });
}
