/** How a vehicle moves at the cursor by its best source, and when what is behind that was measured. */
import type { TapeSeconds } from '../stream/clocks';
import { old_after_s } from './age';
import { estimate, kModeWords, type Estimator } from './estimates';
import { find_role, type ColumnRef } from './roles';
import type { Tape } from './tape';

export interface Reading {
  value: number;
  /** 1-sigma; NaN when none is given. */
  sigma: number;
  /** When the newest measurement behind it was taken; NaN when nothing was. */
  measured_s: TapeSeconds;
  /** Older than this it is old. */
  hold_s: number;
}

export type MotionSource = 'navigation' | 'vertical' | 'onboard' | 'none';

export interface Motion {
  source: MotionSource;
  altitude_m: Reading;
  vertical_speed_mps: Reading;
}

/** Channels that say something of the vertical. */
const kVerticalRoles = [
  'static_pressure',
  'accel_body_x',
  'accel_body_y',
  'accel_body_z',
  'height_msl',
  'height_ellipsoid',
  'onboard_altitude',
] as const;

const kNothing: Reading = { value: NaN, sigma: NaN, measured_s: NaN, hold_s: old_after_s(0) };

type Measured = Pick<Reading, 'measured_s' | 'hold_s'>;

/** When the newest of them was measured, of the rows up to the cursor. */
function newest(tape: Tape, vehicle: number): Measured {
  let found: Measured = kNothing;
  for (const role of kVerticalRoles) {
    const ref = find_role(tape.description, role, vehicle);
    if (!ref) continue;
    const { value, t_s } = tape.value_at_cursor(ref.table.id, ref.column);
    if (Number.isFinite(value) && !(t_s <= found.measured_s))
      found = { measured_s: t_s, hold_s: old_after_s(ref.table.period_s) };
  }
  return found;
}

/**
 * A column's value, as it was when something was last measured: nobody has read what an estimator computes on from there.
 * `sigma` -1: there is none.
 */
function reading(tape: Tape, ref: ColumnRef | undefined, sigma: number, measured: Measured): Reading {
  if (!ref) return kNothing;
  const { measured_s, hold_s } = measured;
  const at_s = Number.isNaN(measured_s) ? Infinity : measured_s + Math.max(0.1, 2 * ref.table.period_s);
  const { value, t_s } = tape.value_before(ref.table.id, ref.column, at_s);
  if (!Number.isFinite(value)) return kNothing;
  return {
    value,
    sigma: sigma < 0 ? NaN : tape.value_before(ref.table.id, sigma, at_s).value,
    measured_s: Number.isNaN(measured_s) ? t_s : Math.min(measured_s, t_s),
    hold_s,
  };
}

/** Navigation knows best while fixes aid it, then the filter of the vertical, then the vehicle itself. */
export function motion_at(tape: Tape, vehicle: number): Motion {
  const measured = newest(tape, vehicle);
  const of = (name: Estimator & MotionSource, altitude: string, speed: string): Motion => {
    const source = estimate(tape, vehicle, name);
    const read = (column: string): Reading => {
      const ref = source.ref(column as never);
      const sigma = ref?.table.columns.findIndex((one) => one.name === ref.table.columns[ref.column]?.sigma_column);
      return reading(tape, ref, sigma ?? -1, measured);
    };
    return { source: name, altitude_m: read(altitude), vertical_speed_mps: read(speed) };
  };
  if (estimate(tape, vehicle, 'navigation').word('mode') === kModeWords.aided) {
    const navigated = of('navigation', 'up_m', 'velocity_up_mps');
    if (Number.isFinite(navigated.altitude_m.value)) return navigated;
  }
  const filtered = of('vertical', 'altitude_m', 'vertical_speed_mps');
  if (Number.isFinite(filtered.altitude_m.value)) return filtered;
  const own = (role: string): Reading => reading(tape, find_role(tape.description, role, vehicle), -1, measured);
  const altitude_m = own('onboard_altitude');
  const source = Number.isFinite(altitude_m.value) ? 'onboard' : 'none';
  return { source, altitude_m, vertical_speed_mps: own('onboard_vertical_speed') };
}
