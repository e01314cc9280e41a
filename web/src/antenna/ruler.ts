/** A straight scale of degrees around what the antenna is held toward, with where it should point on it. */
import { turn_deg } from '../places/geodesic';

export const kRuler = { width: 366, height: 64, base: 34, reach_deg: 40 } as const;
const kEdge = 14;
const kPerDegree = (kRuler.width / 2 - kEdge) / kRuler.reach_deg;
const kTick_deg = 5;
const kLong_deg = 10;
const kLabel_deg = 20;

export interface Tick {
  x: number;
  long: boolean;
  /** NaN: no label. */
  label_deg: number;
}

export interface Ruler {
  ticks: Tick[];
  /** Where the vehicle is; at the end of the scale when it lies beyond. */
  target_x: number;
  beyond: boolean;
  /** Edges of the beam; NaN when nobody says how wide it is. */
  beam_left: number;
  beam_right: number;
}

const x_of = (offset_deg: number): number => kRuler.width / 2 + offset_deg * kPerDegree;

/** `round`: the scale goes round, as azimuth does; an elevation ends at the horizon's foot and overhead. */
export function ruler_of(middle_deg: number, target_deg: number, beamwidth_deg: number, round: boolean): Ruler {
  const first = Math.ceil((middle_deg - kRuler.reach_deg) / kTick_deg) * kTick_deg;
  const ticks: Tick[] = [];
  for (let deg = first; deg <= middle_deg + kRuler.reach_deg; deg += kTick_deg) {
    if (!round && (deg < 0 || deg > 90)) continue;
    const x = x_of(deg - middle_deg);
    const inside = x > kEdge + 12 && x < kRuler.width - kEdge - 12;
    const labelled = ((deg % kLabel_deg) + kLabel_deg) % kLabel_deg === 0 && inside;
    ticks.push({ x, long: deg % kLong_deg === 0, label_deg: labelled ? deg : NaN });
  }
  const offset_deg = round ? turn_deg(middle_deg, target_deg) : target_deg - middle_deg;
  const half_deg = beamwidth_deg < 2 * kRuler.reach_deg ? beamwidth_deg / 2 : NaN;
  return {
    ticks,
    target_x: x_of(Math.max(-kRuler.reach_deg, Math.min(kRuler.reach_deg, offset_deg))),
    beyond: Math.abs(offset_deg) > kRuler.reach_deg,
    beam_left: x_of(-half_deg),
    beam_right: x_of(half_deg),
  };
}
