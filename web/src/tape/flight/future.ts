/**
 * What is to come by the newest figures, drawn dotted right of now: up to the predicted apogee, then down at the rates
 * expected under what should be open. A sketch for the eye: figures come from the server alone.
 */
import type { TapeSeconds } from '../../stream/clocks';

export interface FuturePoint {
  t_s: TapeSeconds;
  value: number;
}

/** How a vehicle moves now and what is expected of it; NaN for what is not known. */
export interface Outlook {
  t_s: TapeSeconds;
  altitude_m: number;
  vertical_speed_mps: number;
  apogee_m: number;
  apogee_in_s: number;
  /** The next parachute: seconds until it opens, and the fall rate under it. */
  next_in_s: number;
  next_rate_mps: number;
}

const kSteps = 24;

/** Altitude and vertical speed from now on; both empty when nothing can be said. */
export function future_of(outlook: Outlook): { altitude: FuturePoint[]; speed: FuturePoint[] } {
  const { t_s, altitude_m, vertical_speed_mps } = outlook;
  if (!Number.isFinite(altitude_m) || !Number.isFinite(vertical_speed_mps)) return { altitude: [], speed: [] };
  if (outlook.apogee_in_s > 0 && outlook.apogee_m > altitude_m) return rise(outlook);
  if (vertical_speed_mps >= -0.5 || altitude_m <= 1) return { altitude: [], speed: [] };
  const altitude: FuturePoint[] = [{ t_s, value: altitude_m }];
  const speed: FuturePoint[] = [{ t_s, value: vertical_speed_mps }];
  let at_s = t_s;
  let height_m = altitude_m;
  let rate_mps = -vertical_speed_mps;
  if (outlook.next_in_s > 0 && outlook.next_rate_mps > 0) {
    const fallen_m = Math.min(height_m, rate_mps * outlook.next_in_s);
    at_s += fallen_m / rate_mps;
    height_m -= fallen_m;
    altitude.push({ t_s: at_s, value: height_m });
    speed.push({ t_s: at_s, value: -rate_mps });
    rate_mps = outlook.next_rate_mps;
    speed.push({ t_s: at_s + 1, value: -rate_mps });
  }
  at_s += height_m / rate_mps;
  altitude.push({ t_s: at_s, value: 0 });
  speed.push({ t_s: at_s, value: -rate_mps });
  return { altitude, speed: speed.toSorted((a, b) => a.t_s - b.t_s) };
}

/** Height is the cubic that begins with today's height and speed and ends at rest at the predicted apogee. */
function rise({ t_s, altitude_m, vertical_speed_mps, apogee_m, apogee_in_s }: Outlook): {
  altitude: FuturePoint[];
  speed: FuturePoint[];
} {
  const altitude: FuturePoint[] = [];
  const speed: FuturePoint[] = [];
  const climb_m = apogee_m - altitude_m;
  const slope_m = vertical_speed_mps * apogee_in_s;
  for (let i = 0; i <= kSteps; i++) {
    const u = i / kSteps;
    const at_s = t_s + u * apogee_in_s;
    altitude.push({
      t_s: at_s,
      value: altitude_m + slope_m * u + (3 * climb_m - 2 * slope_m) * u * u + (slope_m - 2 * climb_m) * u * u * u,
    });
    speed.push({
      t_s: at_s,
      value: (slope_m + 2 * (3 * climb_m - 2 * slope_m) * u + 3 * (slope_m - 2 * climb_m) * u * u) / apogee_in_s,
    });
  }
  return { altitude, speed };
}
